//! How files are named. No file is touched here.

use std::path::{Path, PathBuf};

/// What plan files end in.
pub const PLAN_ENDING: &str = ".plan.ron";

/// What toolpath files end in (common practice, no source).
pub const TOOLPATH_ENDINGS: [&str; 5] = ["gcode", "gco", "g", "nc", "ngc"];

/// What photographs that can be read end in.
pub const PHOTO_ENDINGS: [&str; 3] = ["jpg", "jpeg", "png"];

/// What pictures end in.
pub const PICTURE_ENDINGS: [&str; 4] = ["png", "jpg", "jpeg", "svg"];

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

/// A folder, so that a file's name can be typed after it.
pub fn folder_text(folder: &Path) -> String {
    let mut text = folder.display().to_string();
    if !text.is_empty() && !text.ends_with(std::path::MAIN_SEPARATOR) {
        text.push(std::path::MAIN_SEPARATOR);
    }
    text
}

/// A file as it is named from a folder: relative when it lies in or below it, else in full.
pub fn relative(file: &Path, folder: &Path) -> String {
    let full = |p: &Path| std::path::absolute(p).unwrap_or_else(|_| p.to_owned());
    let (file, folder) = (full(file), full(folder));
    let path = file.strip_prefix(&folder).unwrap_or(&file);
    path.to_string_lossy().replace('\\', "/")
}

/// A file as a plan names it: from the plan's folder, or in full as long as the plan has none.
pub fn from_plan(file: &Path, plan_file: Option<&Path>) -> String {
    match plan_file {
        Some(plan_file) => relative(file, &folder_of(plan_file)),
        None => {
            let full = std::path::absolute(file).unwrap_or_else(|_| file.to_owned());
            full.display().to_string()
        }
    }
}

/// Whether a file is named like a toolpath.
pub fn is_toolpath(path: &Path) -> bool {
    ends_in(path, &TOOLPATH_ENDINGS)
}

/// Whether a file is named like a picture.
pub fn is_picture(path: &Path) -> bool {
    ends_in(path, &PICTURE_ENDINGS)
}

/// Whether a file is named like a photograph that can be read.
pub fn is_photograph(path: &Path) -> bool {
    ends_in(path, &PHOTO_ENDINGS)
}

/// Whether a mesh's file is of a kind that may have colours.
pub fn may_have_colours(path: &Path) -> bool {
    ends_in(path, &["obj", "ply", "3mf", "gltf", "glb"])
}

fn ends_in(path: &Path, endings: &[&str]) -> bool {
    let ending = path.extension().unwrap_or_default().to_string_lossy();
    endings.iter().any(|e| ending.eq_ignore_ascii_case(e))
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
