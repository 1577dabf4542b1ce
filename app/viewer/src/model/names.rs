//! How files are named. No file is touched here.

use std::path::{Path, PathBuf};

/// What plan files end in.
pub const PLAN_ENDING: &str = ".plan.ron";

/// What toolpath files end in (common practice, no source).
pub const TOOLPATH_ENDINGS: [&str; 5] = ["gcode", "gco", "g", "nc", "ngc"];

/// A file's name without its folder.
pub fn file_name(file: &Path) -> String {
    let name = file.file_name().unwrap_or_default();
    name.to_string_lossy().into_owned()
}

/// The name of a plan without its ending.
pub fn plan_stem(file: &Path) -> String {
    let name = file_name(file);
    for ending in [PLAN_ENDING, ".ron"] {
        if let Some(stem) = name.strip_suffix(ending) {
            return stem.to_owned();
        }
    }
    name
}

/// The file with the ending of plans, unless it has it.
pub fn with_plan_ending(file: &Path) -> PathBuf {
    let name = file_name(file);
    match name.ends_with(".ron") {
        true => file.to_owned(),
        false => file.with_file_name(format!("{name}{PLAN_ENDING}")),
    }
}

/// The folder that a file lies in.
pub fn folder_of(file: &Path) -> PathBuf {
    match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder.to_owned(),
        _ => PathBuf::from("."),
    }
}

/// A file as it is named from a folder: relative when it lies in or below it, else in full.
pub fn relative(file: &Path, folder: &Path) -> String {
    let full = |p: &Path| std::path::absolute(p).unwrap_or_else(|_| p.to_owned());
    let (file, folder) = (full(file), full(folder));
    let path = file.strip_prefix(&folder).unwrap_or(&file);
    path.to_string_lossy().replace('\\', "/")
}

/// Whether a file is named like a toolpath.
pub fn is_toolpath(path: &Path) -> bool {
    let ending = path.extension().unwrap_or_default().to_string_lossy();
    TOOLPATH_ENDINGS
        .iter()
        .any(|e| ending.eq_ignore_ascii_case(e))
}

/// `cup.gcode` is woven into `cup-woven.gcode`.
pub fn woven_name(sliced: &Path) -> PathBuf {
    let stem = sliced.file_stem().unwrap_or_default().to_string_lossy();
    let ending = sliced.extension().unwrap_or("gcode".as_ref());
    sliced.with_file_name(format!("{stem}-woven.{}", ending.to_string_lossy()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plans_get_their_ending_once() {
        for (file, with, stem) in [
            ("a/cup", "a/cup.plan.ron", "cup"),
            ("a/cup.plan.ron", "a/cup.plan.ron", "cup"),
            ("a/cup.ron", "a/cup.ron", "cup"),
        ] {
            let with_ending = with_plan_ending(Path::new(file));
            assert_eq!(with_ending, Path::new(with));
            assert_eq!(plan_stem(&with_ending), stem);
        }
    }

    #[test]
    fn a_mesh_beside_the_plan_is_named_relative_to_it() {
        for (file, name) in [
            ("/a/b/cup.stl", "cup.stl"),
            ("/a/b/c/cup.stl", "c/cup.stl"),
            ("/x/cup.stl", "/x/cup.stl"),
        ] {
            assert_eq!(relative(Path::new(file), Path::new("/a/b")), name);
        }
    }
}
