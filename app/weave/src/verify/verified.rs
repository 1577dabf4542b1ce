//! What was found in a woven file, and what makes it unfit to print.

use toolpath::{Caution, CautionKind};

use super::equivalence::Equivalence;
use super::laws::Laws;
use super::place::Standing;
use super::printed::Printed;
use crate::dialect::Tallied;

/// What was found.
#[derive(Clone, Debug)]
pub struct Verified {
    /// Against the toolpath from before the weaving, if that was given and its order kept.
    pub same: Option<Equivalence>,
    /// The same where runs changed places, as the file's head says.
    pub laws: Option<Laws>,
    /// Whether the file's header names this plan; `None` if it names none.
    pub plan_matches: Option<bool>,
    /// How far the part's rim lies from where the file's head says, at the copy that is farthest
    /// off, mm; `None` if the head tells of no copy.
    pub placed_off_mm: Option<f64>,
    /// How the copies stand, as far as the printed lines tell.
    pub standing: Option<Standing>,
    /// Plastic that is part of no copy, mm³: brims, skirts, supports, the purge block.
    pub beside_mm3: f64,
    /// The blends that plastic is fed in: as the file's last line tells, and as they were found.
    pub tally: (Option<Tallied>, Tallied),
    /// The file's head says that blends were woven into it.
    pub woven: bool,
    /// Changes of blend in the file.
    pub changes: u64,
    /// Lines of the dialect that make no sense, with their numbers: the first few.
    pub unclear: Vec<(u64, String)>,
    /// Plastic laid before any blend was chosen, mm³.
    pub unset_mm3: f64,
    /// Plastic in all, mm³.
    pub volume_mm3: f64,
    /// Filament of each component, mm.
    pub filament_mm: Vec<f64>,
    /// The print's skin.
    pub printed: Printed,
    /// The skin of each region that anything was laid for, in the plan's order.
    pub regions: Vec<RegionLaid>,
    /// Doubts about the file.
    pub cautions: Vec<Caution>,
}

/// How one region came out.
#[derive(Clone, Debug, PartialEq)]
pub struct RegionLaid {
    /// Its name.
    pub name: String,
    /// Plastic at its skin, mm³.
    pub volume_mm3: f64,
    /// Mean difference from the plan, ΔE00, by volume.
    pub mean_de00: f64,
}

impl Verified {
    /// What makes the file unfit to print, the gravest first; `None` if nothing does.
    pub fn fault(&self) -> Option<String> {
        if let Some(same) = &self.same {
            if let Some(difference) = &same.first_difference {
                return Some(format!("not the same print: {difference}"));
            }
            if !same.holds() {
                let mm = same.filament_mm;
                return Some(format!("not the same print: {mm:+.6} mm of filament"));
            }
        }
        if let Some(fault) = self.laws.as_ref().and_then(|laws| laws.fault.as_ref()) {
            return Some(format!("not the same print: {fault}"));
        }
        if self.plan_matches == Some(false) {
            let what = "it was woven from another plan, or the plan has changed since";
            return Some(what.to_owned());
        }
        if let Some(fault) = self.placed() {
            return Some(fault);
        }
        let unknown = |c: &&Caution| c.kind == CautionKind::UnknownFlow;
        if let Some(caution) = self.cautions.iter().find(unknown) {
            return Some(caution.to_string());
        }
        if let Some((line, what)) = self.unclear.first() {
            return Some(format!("line {line} makes no sense: {what}"));
        }
        if self.changes == 0 {
            return Some("it has no blend command of this dialect".to_owned());
        }
        self.told()
    }

    /// Whether the part is where it should be.
    fn placed(&self) -> Option<String> {
        let told = self.placed_off_mm.map(|off_mm| Standing {
            off_mm,
            covered: 1.0,
            better: None,
        });
        let each = [told, self.standing].into_iter().flatten();
        each.filter_map(|standing| standing.fault()).next()
    }

    /// Whether the blends are those that were woven in.
    fn told(&self) -> Option<String> {
        let found = self.tally.1;
        match self.tally.0 {
            Some(told) if told == found => None,
            Some(told) if told.changes != found.changes => Some(format!(
                "{} changes of blend were woven in, and {} are in the file: blend commands are \
                 missing or new",
                told.changes, found.changes
            )),
            Some(_) => Some("its blend commands are not those that were woven in".to_owned()),
            None if self.woven => Some(
                "its last line is missing, which tells how many changes of blend there are: the \
                 file was cut off or changed"
                    .to_owned(),
            ),
            None => None,
        }
    }
}
