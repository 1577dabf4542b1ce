//! What an inspection found, in words.

use glam::DVec3;
use serde::Serialize;

use super::{CRACK_MM, Inspection, SLIT_MM, Tally};

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

/// "1 hole" or "3 holes".
fn counted(count: usize, one: &str, many: &str) -> String {
    match count {
        1 => format!("1 {one}"),
        _ => format!("{count} {many}"),
    }
}

impl Inspection {
    /// What there is to say about the mesh, the gravest first; never empty.
    pub fn findings(&self) -> Vec<Finding> {
        let mut findings: Vec<Finding> = [
            self.holes_found(),
            self.slits_found(),
            self.cracks_found(),
            self.flipped_found(),
            self.inside_out_found(),
            self.doubled_found(),
            self.non_manifold_found(),
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
            what_to_do: "Close the holes in the program that made the mesh. Until then, \
                         volumes near them are estimates, and outlines there are closed by \
                         straight lines."
                .into(),
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
                "The surface has {} narrower than {SLIT_MM} mm, where facets meet without \
                 sharing their corners.",
                counted(tally.count, "slit", "slits")
            ),
            "Volumes and outlines hardly suffer; weld the mesh in the program that made it \
             to be rid of them.",
        )
    }

    fn cracks_found(&self) -> Option<Finding> {
        let tally = self.cracked_vertices;
        tally_found(
            tally,
            Severity::Warning,
            format!(
                "{} at a hole's rim lie within {CRACK_MM} mm of a neighbour they are not \
                 joined to: the surface is cracked there.",
                counted(tally.count, "vertex", "vertices")
            ),
            format!("Read the file again, welding within {CRACK_MM} mm."),
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
            "Let the program that made the mesh turn its facets the same way; volumes are \
             wrong until then.",
        )
    }

    fn inside_out_found(&self) -> Option<Finding> {
        let tally = self.inside_out_shells;
        let what = match self.shells.len() {
            1 => "The mesh is inside out: its facets face inwards.".to_owned(),
            all => format!("{} of {all} shells face inwards.", tally.count),
        };
        tally_found(
            tally,
            Severity::Fault,
            what,
            "Flip the facets of these shells; their volume counts as negative until then.",
        )
    }

    fn doubled_found(&self) -> Option<Finding> {
        let tally = self.doubled_shells;
        tally_found(
            tally,
            Severity::Warning,
            format!(
                "{} within another and facing outwards: the volume there counts twice.",
                counted(tally.count, "shell lies", "shells lie")
            ),
            "If it is meant as a hollow, flip its facets; if as solid, unite the shells.",
        )
    }

    fn non_manifold_found(&self) -> Option<Finding> {
        let tally = self.non_manifold_edges;
        tally_found(
            tally,
            Severity::Warning,
            format!(
                "Along {} more than two facets meet.",
                counted(tally.count, "edge", "edges")
            ),
            "Harmless where solids only touch along a line; otherwise remove the walls that \
             end inside the part.",
        )
    }

    fn duplicates_found(&self) -> Option<Finding> {
        let tally = self.duplicate_facets;
        tally_found(
            tally,
            Severity::Warning,
            format!(
                "{} the same corners as another.",
                counted(tally.count, "facet has", "facets have")
            ),
            "Remove the doubles; their area counts twice.",
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
                "{} (almost) no area: {} none at all, {} lower than {CRACK_MM} mm.",
                counted(count, "facet has", "facets have"),
                self.empty_facets.count,
                self.slivers.count
            ),
            "",
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
