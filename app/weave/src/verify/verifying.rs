//! A woven file read back: what it lays, and what is wrong with it.

use std::io::Read;

use blend::{Lab, Shares};
use geometry::layers::MOST_LAYERS;
use geometry::place::BED_FACE_MM;
use geometry::{DVec3, LayerPlan, Progress};
use plan::Painted;
use plan::machine::Chamber;
use toolpath::{CautionKind, Form, Replay, Settings, Step, filament_area_mm2};

use super::equivalence::{self, Equivalence};
use super::laws::{self, Laws};
use super::nozzle::Nozzle;
use super::place::{self, Owner, Owners};
use super::printed::Printed;
use super::verified::{RegionLaid, Verified};
use crate::dialect::{Dialect, Heard, Listener, Tallied, Tally};
use crate::register::{self, Placement};
use crate::weaving::{ALL, heights_mm, turn_matters};
use crate::{Source, WeaveError, head_tells_of_weaving};

/// What to read back, and against what.
pub struct Verify<'a> {
    /// The plan on its part.
    pub painted: &'a Painted,
    /// The dialect that the file was woven in.
    pub dialect: &'a Dialect,
    /// How to read what toolpaths leave open.
    pub settings: Settings,
    /// Where the copies stand.
    pub stands: Vec<Placement>,
    /// The melt chamber; mostly the plan's, or one that was measured.
    pub chamber: Chamber,
}

/// Distance between looks along a move, mm.
const LOOK_MM: f64 = 0.5;

/// A hair beneath the skin, mm.
const HAIR_MM: f64 = 1e-3;

/// The most unclear lines that are told.
pub(super) const MOST_UNCLEAR: usize = 10;

impl Verify<'_> {
    /// Reads a woven file back; `original` is the toolpath from before the weaving.
    ///
    /// # Errors
    /// When a file can't be read, or when cancelled. What is wrong with the print is no
    /// error but in what is found.
    pub fn run(
        &self,
        woven: &Source<'_>,
        original: Option<&Source<'_>>,
        progress: &Progress,
    ) -> Result<Verified, WeaveError> {
        let plan = self.painted.plan();
        let components = plan.spools.len();
        let (same, laws) = match original {
            Some(original) => {
                progress.stage("Comparing with the sliced toolpath");
                self.compare(woven, original, progress)?
            }
            None => (None, None),
        };
        let surface = self.painted.surface();
        let standing = place::standing(
            surface,
            plan.layers.layer_mm,
            woven,
            self.settings,
            &self.stands,
            progress,
        )?;
        progress.stage("Replaying the woven toolpath");
        let mut run = Run {
            verify: self,
            bed_mm: self.painted.surface().mesh().bounds().0.z,
            // The outer line's middle lies half a line within the skin, the next one's three halves.
            owners: Owners::new(surface, &self.stands, plan.machine.nozzle_mm),
            tally: Tally::default(),
            unclear: None,
            nozzle: Nozzle::new(self.dialect, components, self.chamber)?,
            colour: None,
            heights: Heights::default(),
            plan_sha256: plan.sha256()?,
            found: Verified {
                same,
                laws,
                plan_matches: None,
                placed_off_mm: place::off_mm(surface.mesh(), &place::told(woven)?, &self.stands),
                standing,
                beside_mm3: 0.0,
                tally: (None, Tally::default().told()),
                woven: head_tells_of_weaving(&head(woven)?),
                changes: 0,
                unclear: Vec::new(),
                unset_mm3: 0.0,
                volume_mm3: 0.0,
                filament_mm: vec![0.0; components],
                printed: Printed::new(),
                regions: plan
                    .regions
                    .iter()
                    .map(|region| RegionLaid {
                        name: region.name.clone(),
                        volume_mm3: 0.0,
                        mean_de00: 0.0,
                    })
                    .collect(),
                cautions: Vec::new(),
            },
        };
        run.replay(woven, progress)?;
        run.found.tally.1 = run.tally.told();
        run.found.regions.retain(|region| region.volume_mm3 > 0.0);
        Ok(run.found)
    }

    /// Both files side by side: in order, or, where the head says that runs changed places, by
    /// the laws of that.
    fn compare(
        &self,
        woven: &Source<'_>,
        original: &Source<'_>,
        progress: &Progress,
    ) -> Result<(Option<Equivalence>, Option<Laws>), WeaveError> {
        let components = self.painted.plan().spools.len();
        let mut listener = Listener::new(self.dialect, components)?;
        let (before, after) = (original.read()?, woven.read()?);
        let size_bytes = woven.size_bytes();
        if !tells_of_order(woven)? {
            let same = equivalence::compare(
                before,
                after,
                self.settings,
                &mut listener,
                size_bytes,
                progress,
            )?;
            return Ok((Some(same), None));
        }
        let listener = Some(&mut listener);
        let laws = laws::check(before, after, self.settings, listener, size_bytes, progress)?;
        Ok((None, Some(laws)))
    }
}

/// How a head begins the line that tells of another order.
const ORDER: &str = "; Order: runs changed places";

/// Whether a file's head says that runs changed places.
fn tells_of_order(woven: &Source<'_>) -> Result<bool, WeaveError> {
    let head = head(woven)?;
    let text = String::from_utf8_lossy(&head);
    Ok(text.lines().any(|line| line.trim().starts_with(ORDER)))
}

/// The first bytes of a file, in which its head is.
fn head(woven: &Source<'_>) -> Result<Vec<u8>, WeaveError> {
    let mut head = Vec::new();
    let mut file = woven.read()?.take(64 * 1024);
    file.read_to_end(&mut head).map_err(WeaveError::Open)?;
    Ok(head)
}

struct Run<'a> {
    verify: &'a Verify<'a>,
    /// Height of the part's lowest place, mm.
    bed_mm: f64,
    owners: Owners,
    nozzle: Nozzle,
    tally: Tally,
    /// A line that makes no sense, as long as no plastic followed it.
    unclear: Option<(u64, String)>,
    /// The last blend laid and its colour.
    colour: Option<(Shares, Lab)>,
    heights: Heights,
    plan_sha256: String,
    found: Verified,
}

impl Run<'_> {
    fn replay(&mut self, woven: &Source<'_>, progress: &Progress) -> Result<(), WeaveError> {
        let spools = &self.verify.painted.plan().spools;
        let area_mm2 = filament_area_mm2(spools.first().map_or(1.75, |s| s.diameter_mm));
        let mut replay = Replay::new(woven.read()?, self.verify.settings);
        let mut next_look = 0;
        let mut foreign_tools = false;
        while let Some(seen) = replay.advance()? {
            let number = seen.line.number();
            let fed = self.nozzle.fed();
            let heard = self.nozzle.hear(&seen.line);
            foreign_tools |= matches!(seen.step, Step::Tool(_)) && heard == Heard::Nothing;
            match heard {
                Heard::Nothing | Heard::Noted => {}
                Heard::Change(shares) => {
                    self.found.changes += u64::from(fed != Some(shares));
                    // A tool chosen by the sliced file, and the blend chosen again.
                    self.unclear = self.unclear.take().filter(|_| !is_tool(&seen.step));
                }
                Heard::Unclear(text) => {
                    self.tell_unclear();
                    self.unclear = Some((number, text));
                }
            }
            if seen.line.form() == Form::Quiet {
                self.note(seen.line.comment());
            }
            if let Step::Move(step) = seen.step
                && step.extruded_mm > 0.0
            {
                self.tell_unclear();
                if let Some(fed) = self.nozzle.fed() {
                    self.tally.feed(&fed);
                }
                if step.fresh_mm > 0.0 {
                    self.lay(&step, step.fresh_mm * area_mm2, number);
                }
            }
            let offset = seen.line.offset();
            if offset >= next_look {
                next_look = offset + (1 << 20);
                progress.set(offset as f32 / woven.size_bytes().max(1) as f32);
                progress.check()?;
            }
        }
        self.tell_unclear();
        // A dialect may select its blends like tools.
        let told = replay.cautions().as_slice().iter();
        self.found.cautions = told
            .filter(|c| foreign_tools || c.kind != CautionKind::OtherTool)
            .copied()
            .collect();
        Ok(())
    }

    /// What a comment tells of the weaving.
    fn note(&mut self, comment: Option<&[u8]>) {
        if self.found.plan_matches.is_none() {
            self.found.plan_matches = self.names_plan(comment);
        }
        if let Some(told) = comment.and_then(Tallied::of) {
            self.found.tally.0 = Some(told);
        }
    }

    /// Tells of a line that made no sense and was not made good.
    fn tell_unclear(&mut self) {
        if let Some(unclear) = self.unclear.take()
            && self.found.unclear.len() < MOST_UNCLEAR
        {
            self.found.unclear.push(unclear);
        }
    }

    fn names_plan(&self, comment: Option<&[u8]>) -> Option<bool> {
        let text = std::str::from_utf8(comment?).ok()?;
        let hash = text.trim().strip_prefix("Plan: SHA-256 ")?;
        Some(hash == self.plan_sha256)
    }

    /// Lays a move's plastic bit by bit.
    fn lay(&mut self, step: &toolpath::Move, volume_mm3: f64, line: u64) {
        self.found.volume_mm3 += volume_mm3;
        let Some(fed) = self.nozzle.fed() else {
            self.found.unset_mm3 += volume_mm3;
            return;
        };
        for (total, share) in self.found.filament_mm.iter_mut().zip(fed.as_slice()) {
            *total += step.fresh_mm * share;
        }
        let length = step.length_mm();
        let bits = (length / LOOK_MM).ceil().clamp(1.0, 1e5);
        let bit_mm3 = volume_mm3 / bits;
        let top = step.from[2].max(step.to[2]);
        let height_mm = self.layer_height(top);
        for i in 0..bits as u32 {
            if let Some(laid) = self.nozzle.lay(bit_mm3)
                && step.travels()
            {
                let mut plate = DVec3::from(step.at((f64::from(i) + 0.5) / bits));
                plate.z -= 0.5 * height_mm;
                self.bit(plate, laid, bit_mm3, line);
            }
        }
    }

    /// One bit of plastic about a place of the plate.
    fn bit(&mut self, plate: DVec3, laid: Shares, volume_mm3: f64, line: u64) {
        let painted = self.verify.painted;
        let (near, part) = match self.owners.of(plate) {
            Owner::Skin { near, part } => (near, part),
            Owner::Inside => return,
            Owner::Nobody => {
                self.found.beside_mm3 += volume_mm3;
                return;
            }
        };
        // The face that stood on the bed is not seen.
        if near.point_mm.z < self.bed_mm + BED_FACE_MM {
            return;
        }
        let lab = match self.colour {
            Some((known, lab)) if known == laid => lab,
            _ => painted.model().mix(&laid).to_lab(),
        };
        self.colour = Some((laid, lab));
        // On the plastic's side of an edge that runs along the skin, such as a band's on a ledge.
        let mut within = near;
        within.point_mm += (part - near.point_mm).clamp_length_max(HAIR_MM);
        let asked = painted.lab_at(within);
        let region = painted.region_at(within);
        if let Some(region) = self.found.regions.get_mut(region) {
            let sum = region.volume_mm3 + volume_mm3;
            let off = blend::ciede2000(asked, lab) - region.mean_de00;
            region.mean_de00 += off * volume_mm3 / sum;
            region.volume_mm3 = sum;
        }
        self.found
            .printed
            .add(near.point_mm, asked, lab, volume_mm3, line);
    }

    /// Thickness of the layer whose top is at a height: up from the layer below.
    fn layer_height(&mut self, top: f64) -> f64 {
        let plain = self.verify.painted.plan().layers.layer_mm;
        let lift = self.verify.stands.first().map_or(0.0, |s| s.lift_mm);
        let below = self.heights.below(top).unwrap_or(lift);
        // Toolpaths that climb all the while have no layers.
        match top - below {
            thick if thick > 0.25 * plain && thick < 4.0 * plain => thick,
            _ => plain,
        }
    }
}

/// Whether a line chooses a tool.
fn is_tool(step: &Step) -> bool {
    matches!(step, Step::Tool(_))
}

/// Heights of layers seen, rising.
#[derive(Default)]
pub(super) struct Heights(pub(super) Vec<f64>);

impl Heights {
    /// The height seen below this one, which is seen now.
    pub(super) fn below(&mut self, top: f64) -> Option<f64> {
        const SAME_MM: f64 = 1e-3;
        let at = self.0.partition_point(|h| *h < top - SAME_MM);
        let is_new = self.0.get(at).is_none_or(|h| *h > top + SAME_MM);
        // A toolpath without layers has as many heights as moves.
        if is_new && self.0.len() < MOST_LAYERS {
            self.0.insert(at, top);
        }
        self.0.get(at.checked_sub(1)?).copied()
    }
}

/// Where the part stands, as given; looked for in the woven file if nothing is.
///
/// # Errors
/// As [`find_stands`].
pub fn stands_or_found(
    given: Vec<Placement>,
    painted: &Painted,
    woven: &Source<'_>,
    settings: Settings,
    progress: &Progress,
) -> Result<Vec<Placement>, WeaveError> {
    match given.is_empty() {
        true => find_stands(painted, woven, settings, progress),
        false => Ok(given),
    }
}

/// Where the copies of the part stand in a woven file: as its head tells, which [`Verify::run`]
/// then holds against the printed lines. In a file whose head tells of none they are looked for by
/// the part's outlines.
///
/// # Errors
/// When it can't be read or found, or when two turns fit that are not the same.
pub fn find_stands(
    painted: &Painted,
    woven: &Source<'_>,
    settings: Settings,
    progress: &Progress,
) -> Result<Vec<Placement>, WeaveError> {
    let told = place::told(woven)?;
    if !told.is_empty() {
        return Ok(told);
    }
    let surface = painted.surface();
    let layers: &LayerPlan = &painted.plan().layers;
    let (low, high) = surface.mesh().bounds();
    let heights = heights_mm(&ALL, high.z - low.z, 0.0, layers.layer_mm);
    let levels = register::gather(
        woven.read()?,
        woven.size_bytes(),
        settings,
        &heights,
        layers.layer_mm,
        false,
        progress,
    )?;
    let found = register::register(surface, layers, &levels, progress)?;
    let found = match turn_matters(painted.plan()) {
        true => found.sure()?,
        false => found,
    };
    Ok(found.stands.iter().map(|s| s.placement).collect())
}
