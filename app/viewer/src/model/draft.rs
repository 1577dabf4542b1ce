//! What is chosen to weave: the toolpath, the dialect, where the part stands, the woven file.

use std::path::{Path, PathBuf};

use toolpath::{ExtruderMode, Settings};
use weave::arrange::{ALLOW_DE00, Arrange, Purge};
use weave::dialect::{BUILT_IN, TO_FILL_IN};
use weave::register::Placement;

use super::document::Origin;
use super::names::{TOOLPATH_ENDINGS, plan_stem, woven_name};

/// Which dialect a toolpath is woven in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DialectFrom {
    /// A built-in one, by its name.
    BuiltIn(&'static str),
    /// The form with the firmware's own command.
    Line(String),
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
    /// A built-in dialect, or the form to be filled in; `None` for a file.
    pub built_in: Option<&'static str>,
    /// The firmware's own command for the form to be filled in.
    pub line: String,
    /// The dialect's file.
    pub dialect_file: String,
    /// The woven file: what is written, read back and followed.
    pub woven: String,
    /// The firmware takes G90 and G91 for the E axis too.
    pub e_follows: bool,
    /// The part's place on the plate is given by hand.
    pub by_hand: bool,
    /// Where its copies then stand; at least one.
    pub stands: Vec<Placement>,
    /// Where purged plastic goes.
    pub purge: Purge,
    /// How far a blend may be off where its region begins is given by hand, not by the machine.
    pub allows: bool,
    /// That distance, ΔE00.
    pub allow_de00: f64,
    /// The bed's size is given.
    pub knows_bed: bool,
    /// That size, mm.
    pub bed_mm: [f64; 2],
    /// The purge block's place is given by hand.
    pub places_block: bool,
    /// Its corner of lowest X and Y, mm.
    pub block_at_mm: [f64; 2],
    /// Nothing is woven unless the plan is signed as it is.
    pub needs_review: bool,
}

/// Where purged plastic goes, in words, and what that means.
pub const PURGES: [(Purge, &str, &str); 3] = [
    (
        Purge::Stay,
        "nowhere",
        "Every move stays in its place. Blends are fed as near to their place as the file's order \
         allows.",
    ),
    (
        Purge::Inside,
        "inside the part",
        "Runs change places within their layer, so that plastic that nobody sees takes up the \
         changes.",
    ),
    (
        Purge::Block,
        "inside, and a block",
        "As inside the part. What the part can't hide goes into a block beside it.",
    ),
];

/// Least and greatest distance that may be allowed, ΔE00.
pub const ALLOW_RANGE: (f64, f64) = (0.1, 50.0);

impl Default for Draft {
    fn default() -> Self {
        Self {
            sliced: String::new(),
            built_in: Some(first_dialect()),
            line: String::new(),
            dialect_file: String::new(),
            woven: String::new(),
            e_follows: false,
            by_hand: false,
            stands: vec![Placement::default()],
            purge: Purge::default(),
            allows: false,
            allow_de00: ALLOW_DE00,
            knows_bed: false,
            bed_mm: [200.0, 200.0],
            places_block: false,
            block_at_mm: [10.0, 10.0],
            needs_review: false,
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
                Some(name) if name == TO_FILL_IN.0 => DialectFrom::Line(self.line.clone()),
                Some(name) => DialectFrom::BuiltIn(name),
                None => DialectFrom::File(self.dialect_file.trim().into()),
            },
            settings: Settings {
                extruder_mode: match self.e_follows {
                    true => ExtruderMode::FollowsDistance,
                    false => ExtruderMode::Own,
                },
            },
            stands: match self.by_hand {
                true => self.stands.clone(),
                false => Vec::new(),
            },
        }
    }

    /// How runs may change places.
    pub fn arrange(&self) -> Arrange {
        Arrange {
            purge: self.purge,
            allow_de00: self.allows.then_some(self.allow_de00),
            block_at_mm: self.places_block.then_some(self.block_at_mm),
            bed_mm: self.knows_bed.then_some(self.bed_mm),
        }
    }

    /// Takes the options of a way of weaving.
    pub fn take_options(&mut self, arrange: &Arrange) {
        self.purge = arrange.purge;
        self.allows = arrange.allow_de00.is_some();
        self.allow_de00 = arrange.allow_de00.unwrap_or(self.allow_de00);
        self.places_block = arrange.block_at_mm.is_some();
        self.block_at_mm = arrange.block_at_mm.unwrap_or(self.block_at_mm);
        self.knows_bed = arrange.bed_mm.is_some();
        self.bed_mm = arrange.bed_mm.unwrap_or(self.bed_mm);
    }

    /// Whether enough is chosen to try ways of weaving, which write nothing.
    pub fn can_try(&self) -> bool {
        let dialect = match self.built_in {
            Some(name) => name != TO_FILL_IN.0 || !self.line.trim().is_empty(),
            None => !self.dialect_file.trim().is_empty(),
        };
        dialect && self.sliced_file().is_some_and(|f| f.is_file())
    }

    /// Whether enough is chosen to weave.
    pub fn can_weave(&self) -> bool {
        self.can_try() && self.woven_file().is_some()
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

    #[test]
    fn options_of_a_way_are_taken_whole() {
        let mut draft = Draft::default();
        assert_eq!(draft.arrange(), Arrange::default());
        let all = Arrange {
            purge: Purge::Inside,
            allow_de00: Some(5.4),
            block_at_mm: Some([3.0, 4.0]),
            bed_mm: Some([180.0, 160.0]),
        };
        draft.take_options(&all);
        assert_eq!(draft.arrange(), all);
        draft.take_options(&Arrange::default());
        assert_eq!(draft.arrange(), Arrange::default());
    }

    #[test]
    fn a_form_to_be_filled_in_is_not_guessed() {
        let folder = tempfile::tempdir().expect("a folder");
        let sliced = folder.path().join("cup.gcode");
        std::fs::write(&sliced, "G1 X1").expect("written");
        let mut draft = Draft::default();
        draft.choose_sliced(&sliced);
        draft.built_in = Some(TO_FILL_IN.0);
        assert!(!draft.can_weave());
        draft.line = "CODE {shares}".to_owned();
        assert!(draft.can_weave());
        assert_eq!(
            draft.reading().dialect,
            DialectFrom::Line(draft.line.clone())
        );
    }
}
