//! What is chosen to weave: the toolpath, the dialect, where the part stands, the woven file.

use std::path::{Path, PathBuf};

use toolpath::{ExtruderMode, Settings};
use weave::dialect::BUILT_IN;
use weave::register::Placement;

use super::document::Origin;
use super::names::{TOOLPATH_ENDINGS, plan_stem, woven_name};

/// Which dialect a toolpath is woven in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DialectFrom {
    /// A built-in one, by its name.
    BuiltIn(&'static str),
    /// A dialect file.
    File(PathBuf),
}

impl Default for DialectFrom {
    fn default() -> Self {
        Self::BuiltIn(first_dialect())
    }
}

/// The built-in dialect that is proposed.
fn first_dialect() -> &'static str {
    let [(first, _), ..] = BUILT_IN;
    first
}

/// How a toolpath is read.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Reading {
    /// How the firmware is told.
    pub dialect: DialectFrom,
    /// What toolpaths leave open.
    pub settings: Settings,
    /// Where the copies stand, if that is known; they are looked for otherwise.
    pub stands: Vec<Placement>,
}

/// What is chosen on the page.
#[derive(Clone, Debug, PartialEq)]
pub struct Draft {
    /// The sliced toolpath.
    pub sliced: String,
    /// A built-in dialect; `None` for a file.
    pub built_in: Option<&'static str>,
    /// The dialect's file.
    pub dialect_file: String,
    /// The woven file: what is written, read back and followed.
    pub woven: String,
    /// The firmware takes G90 and G91 for the E axis too.
    pub e_follows: bool,
    /// The part's place on the plate is given by hand.
    pub by_hand: bool,
    /// Where it then stands.
    pub stand: Placement,
}

impl Default for Draft {
    fn default() -> Self {
        Self {
            sliced: String::new(),
            built_in: Some(first_dialect()),
            dialect_file: String::new(),
            woven: String::new(),
            e_follows: false,
            by_hand: false,
            stand: Placement::default(),
        }
    }
}

impl Draft {
    /// What is proposed for a part: a toolpath of the same name beside it, if there is one.
    pub fn suggested(origin: &Origin) -> Self {
        let of_plan = origin.plan_file.as_deref().map(|f| (f, plan_stem(f)));
        let of_mesh = origin.mesh_file.as_deref().map(|f| {
            let stem = f.file_stem().unwrap_or_default();
            (f, stem.to_string_lossy().into_owned())
        });
        let found = of_plan.or(of_mesh).and_then(|(file, stem)| {
            let beside = |ending: &&str| file.with_file_name(format!("{stem}.{ending}"));
            let mut files = TOOLPATH_ENDINGS.iter().map(beside);
            files.find(|f| f.is_file())
        });
        let mut draft = Self::default();
        if let Some(sliced) = found {
            draft.choose_sliced(&sliced);
        }
        draft
    }

    /// Takes a sliced toolpath; the woven file is proposed beside it.
    pub fn choose_sliced(&mut self, file: &Path) {
        self.sliced = file.display().to_string();
        self.woven = woven_name(file).display().to_string();
    }

    /// The sliced toolpath, if one is named.
    pub fn sliced_file(&self) -> Option<PathBuf> {
        named(&self.sliced)
    }

    /// The woven file, if one is named.
    pub fn woven_file(&self) -> Option<PathBuf> {
        named(&self.woven)
    }

    /// How the files are read.
    pub fn reading(&self) -> Reading {
        Reading {
            dialect: match self.built_in {
                Some(name) => DialectFrom::BuiltIn(name),
                None => DialectFrom::File(self.dialect_file.trim().into()),
            },
            settings: Settings {
                extruder_mode: match self.e_follows {
                    true => ExtruderMode::FollowsDistance,
                    false => ExtruderMode::Own,
                },
            },
            stands: self.by_hand.then_some(self.stand).into_iter().collect(),
        }
    }

    /// Whether enough is chosen to weave.
    pub fn can_weave(&self) -> bool {
        let dialect = self.built_in.is_some() || !self.dialect_file.trim().is_empty();
        let sliced = self.sliced_file().is_some_and(|f| f.is_file());
        dialect && sliced && self.woven_file().is_some()
    }

    /// Whether there is a woven file to be read.
    pub fn has_woven(&self) -> bool {
        self.woven_file().is_some_and(|f| f.is_file())
    }
}

fn named(text: &str) -> Option<PathBuf> {
    let text = text.trim();
    (!text.is_empty()).then(|| PathBuf::from(text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_toolpath_beside_the_plan_is_proposed_and_never_written_over() {
        let folder = tempfile::tempdir().expect("a folder");
        let origin = Origin {
            plan_file: Some(folder.path().join("cup.plan.ron")),
            ..Origin::default()
        };
        assert_eq!(Draft::suggested(&origin), Draft::default());
        let sliced = folder.path().join("cup.gcode");
        std::fs::write(&sliced, "G1 X1").expect("written");
        let draft = Draft::suggested(&origin);
        assert_eq!(draft.sliced_file(), Some(sliced));
        let woven = Some(folder.path().join("cup-woven.gcode"));
        assert_eq!(draft.woven_file(), woven);
        assert!(draft.can_weave() && !draft.has_woven());
    }
}
