//! What an inspection found, in words.

use glam::DVec3;
use serde::Serialize;

use super::words::significant;
use super::{CRACK_MM, Inspection, SLIT_MM, Tally, place_words, volume_words};

/// What mends most faults.
const MEND: &str = "Mend it: `tintfall mend`, or `mend: true` in the plan.";

/// A share of the volume that is off by no more than this is right.
const VOLUME_OFF: f64 = 1e-6;

/// How much a finding matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum Severity {
    /// Good to know; nothing to do.
    Note,
    /// The print may differ from what is shown here.
    Warning,
    /// Volumes, layers or colours cannot be trusted until it is mended.
    Fault,
}

/// One thing found, in words a maker understands.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Finding {
    /// How much it matters.
    pub severity: Severity,
    /// What it is.
    pub what: String,
    /// Where it is first met, mm, if it is at a place.
    pub where_mm: Option<DVec3>,
    /// What to do about it; empty where nothing needs doing.
    pub what_to_do: String,
}

impl Finding {
    /// The finding as a paragraph, with its place.
    pub fn told(&self) -> String {
        let place = self.where_mm.map_or(String::new(), |p| {
            format!(" (First at {}.)", place_words(p))
        });
        let advice = match self.what_to_do.as_str() {
            "" => String::new(),
            advice => format!(" {advice}"),
        };
        format!("{}{place}{advice}", self.what)
    }
}

/// "1 hole" or "3 holes".
fn counted(count: usize, one: &str, many: &str) -> String {
    match count {
        1 => format!("1 {one}"),
        _ => format!("{count} {many}"),
    }
}

impl Inspection {
    /// Whether there is nothing to mend.
    pub fn is_sound(&self) -> bool {
        self.findings()
            .iter()
            .all(|finding| finding.severity == Severity::Note)
    }

    /// What there is to say about the mesh, the gravest first; never empty.
    pub fn findings(&self) -> Vec<Finding> {
        let mut findings: Vec<Finding> = [
            self.holes_found(),
            self.slits_found(),
            self.cracks_found(),
            self.flipped_found(),
            self.inside_out_found(),
            self.doubled_found(),
            self.crossing_found(),
            self.overlapping_found(),
            self.sheet_found(),
            self.volume_found(),
            self.search_found(),
            self.non_manifold_found(),
            self.touching_found(),
            self.walls_found(),
            self.duplicates_found(),
            self.thin_found(),
            self.size_found(),
        ]
        .into_iter()
        .flatten()
        .collect();
        if findings.iter().all(|f| f.severity == Severity::Note) {
            let shells = counted(self.shells.len(), "shell", "shells");
            findings.push(Finding {
                severity: Severity::Note,
                what: format!("The mesh is closed ({shells}); there is nothing to mend."),
                where_mm: None,
                what_to_do: String::new(),
            });
        }
        findings.sort_by_key(|f| std::cmp::Reverse(f.severity));
        findings
    }

    /// All that is wrong, for people: one paragraph each, with its place. Empty for a sound
    /// mesh. The command, the sheet and the window all tell a mesh's faults by this.
    pub fn unmended(&self) -> Vec<String> {
        let wrong = self.findings().into_iter();
        wrong
            .filter(|f| f.severity > Severity::Note)
            .map(|f| f.told())
            .collect()
    }

    fn holes_found(&self) -> Option<Finding> {
        let mut wide = self.holes.iter().filter(|h| h.width_mm() >= SLIT_MM);
        let longest = wide.next()?;
        let has = match wide.count() {
            0 => format!("1 hole; its rim is {:.2} mm long", longest.rim_mm),
            others => format!(
                "{} holes; the longest rim is {:.2} mm",
                others + 1,
                longest.rim_mm
            ),
        };
        Some(Finding {
            severity: Severity::Fault,
            what: format!("The surface has {has}."),
            where_mm: Some(longest.middle_mm),
            what_to_do: format!(
                "{MEND} Until then, volumes near them are estimates, and straight lines close the \
                 outlines there."
            ),
        })
    }

    fn slits_found(&self) -> Option<Finding> {
        let mut tally = Tally::default();
        for hole in self.holes.iter().filter(|h| h.width_mm() < SLIT_MM) {
            tally.add(|| hole.middle_mm);
        }
        tally_found(
            tally,
            Severity::Warning,
            format!(
                "The surface has {} narrower than {SLIT_MM} mm, where facets meet without sharing \
                 corners.",
                counted(tally.count, "slit", "slits")
            ),
            format!("Volumes and outlines are hardly affected. {MEND}"),
        )
    }

    fn cracks_found(&self) -> Option<Finding> {
        let tally = self.cracked_vertices;
        tally_found(
            tally,
            Severity::Warning,
            format!(
                "{} at a hole's rim are within {CRACK_MM} mm of a neighbour that they are not \
                 joined to: the surface is cracked there.",
                counted(tally.count, "vertex", "vertices")
            ),
            MEND,
        )
    }

    fn flipped_found(&self) -> Option<Finding> {
        let tally = self.flipped_edges;
        tally_found(
            tally,
            Severity::Fault,
            format!(
                "Along {} the two facets disagree about which side is out.",
                counted(tally.count, "edge", "edges")
            ),
            MEND,
        )
    }

    fn inside_out_found(&self) -> Option<Finding> {
        let tally = self.inside_out_shells;
        let what = match self.shells.len() {
            1 => "The mesh is inside out: its facets face inwards.".to_owned(),
            all => format!("{} of {all} shells face inwards.", tally.count),
        };
        tally_found(tally, Severity::Fault, what, MEND)
    }

    fn doubled_found(&self) -> Option<Finding> {
        let tally = self.doubled_shells;
        tally_found(
            tally,
            Severity::Fault,
            format!(
                "{} within another and facing outwards: the volume there counts twice.",
                counted(tally.count, "shell lies", "shells lie")
            ),
            format!("Flip its facets if it is meant as a hollow. If it is solid: {MEND}"),
        )
    }

    fn crossing_found(&self) -> Option<Finding> {
        let tally = self.crossings.crossing;
        let advice = match self.crossings.cross_themselves() {
            true => format!("A shell passes through itself. Layers are still right. {MEND}"),
            false => MEND.to_owned(),
        };
        tally_found(
            tally,
            Severity::Fault,
            format!(
                "{} through each other.",
                counted(tally.count, "pair of facets passes", "pairs of facets pass")
            ),
            advice,
        )
    }

    fn overlapping_found(&self) -> Option<Finding> {
        let tally = self.crossings.overlapping;
        tally_found(
            tally,
            Severity::Fault,
            format!(
                "{} on each other, facing the same way.",
                counted(tally.count, "pair of facets lies", "pairs of facets lie")
            ),
            MEND,
        )
    }

    /// A closed surface without anything in it.
    fn sheet_found(&self) -> Option<Finding> {
        (self.holes.is_empty() && self.is_sheet()).then(|| Finding {
            severity: Severity::Fault,
            what:
                "The mesh bounds next to nothing: it is a sheet, or its facets cancel each other."
                    .into(),
            where_mm: None,
            what_to_do: MEND.into(),
        })
    }

    /// How large the error is, and a fault where nothing else tells why.
    fn volume_found(&self) -> Option<Finding> {
        let off = self.volume_error();
        if off.abs() <= VOLUME_OFF {
            return None;
        }
        let explained = self.crossings.count()
            + self.inside_out_shells.count
            + self.doubled_shells.count
            + self.duplicate_facets.count
            + self.flipped_edges.count
            + self.holes.len()
            > 0;
        let compared = match off {
            off if off < -1.0 - VOLUME_OFF => "less than nothing".to_owned(),
            off if off < -1.0 + VOLUME_OFF => "nothing at all".to_owned(),
            off if off < 0.0 => format!("{:.3} % too little", -100.0 * off),
            off => format!("{:.3} % too much", 100.0 * off),
        };
        Some(Finding {
            severity: if explained {
                Severity::Warning
            } else {
                Severity::Fault
            },
            what: format!(
                "The facets alone add up to {}, {compared}: the outlines contain {} of plastic.",
                volume_words(self.facet_volume_mm3),
                volume_words(self.volume_mm3),
            ),
            where_mm: None,
            what_to_do: "Layers and weights here are taken from the outlines, by the non-zero \
                         winding rule; the areas of skin are not."
                .into(),
        })
    }

    fn search_found(&self) -> Option<Finding> {
        self.crossings.given_up.then(|| Finding {
            severity: Severity::Warning,
            what: "Too many facets are close together to compare them all: more of them may cross."
                .into(),
            where_mm: None,
            what_to_do: "Check the mesh in the program that made it.".into(),
        })
    }

    fn non_manifold_found(&self) -> Option<Finding> {
        let count = self.non_manifold_edges.count - self.touching_edges.count;
        let tally = Tally {
            count,
            first_mm: self.non_manifold_edges.first_mm,
        };
        tally_found(
            tally,
            Severity::Fault,
            format!(
                "Along {} more than two facets meet, more of them one way than the other.",
                counted(count, "edge", "edges")
            ),
            MEND,
        )
    }

    fn touching_found(&self) -> Option<Finding> {
        let tally = self.touching_edges;
        tally_found(
            tally,
            Severity::Note,
            format!(
                "Along {} solids touch, or a wall within the part ends.",
                counted(tally.count, "edge", "edges")
            ),
            "",
        )
    }

    fn walls_found(&self) -> Option<Finding> {
        let tally = self.touching_facets;
        tally_found(
            tally,
            Severity::Note,
            format!(
                "{} on others that face the other way: solids touch there. Areas of skin count \
                 them, though nobody sees them.",
                counted(tally.count, "facet lies", "facets lie")
            ),
            "",
        )
    }

    fn duplicates_found(&self) -> Option<Finding> {
        let tally = self.duplicate_facets;
        tally_found(
            tally,
            Severity::Fault,
            format!(
                "{} the same corners as another.",
                counted(tally.count, "facet has", "facets have")
            ),
            format!("Their area counts twice. {MEND}"),
        )
    }

    fn thin_found(&self) -> Option<Finding> {
        let count = self.empty_facets.count + self.slivers.count;
        let tally = Tally {
            count,
            first_mm: self.empty_facets.first_mm.or(self.slivers.first_mm),
        };
        tally_found(
            tally,
            Severity::Note,
            format!(
                "{} (almost) no area: {} none at all, {} lower than {} mm.",
                counted(count, "facet has", "facets have"),
                self.empty_facets.count,
                self.slivers.count,
                significant(self.sliver_mm)
            ),
            "They are harmless; mending removes them.",
        )
    }

    /// A part that is flat has no layers.
    fn size_found(&self) -> Option<Finding> {
        let thinnest = self.size_mm.min_element();
        (thinnest <= 0.0).then(|| Finding {
            severity: Severity::Fault,
            what: "The mesh is flat: it has no thickness.".into(),
            where_mm: Some(self.least_mm),
            what_to_do: "Give it a thickness in the program that made it.".into(),
        })
    }
}

fn tally_found(
    tally: Tally,
    severity: Severity,
    what: String,
    what_to_do: impl Into<String>,
) -> Option<Finding> {
    (tally.count > 0).then(|| Finding {
        severity,
        what,
        where_mm: tally.first_mm,
        what_to_do: what_to_do.into(),
    })
}
