//! A woven file read back: what it lays, and what is wrong with it.

use std::io::Read;

use blend::{Lab, Shares};
use geometry::layers::MOST_LAYERS;
use geometry::place::BED_FACE_MM;
use geometry::{DVec3, LayerPlan, Progress};
use plan::Painted;
use plan::machine::Chamber;
use toolpath::{Caution, CautionKind, Form, Replay, Settings, Step, filament_area_mm2};

use super::equivalence::{self, Equivalence};
use super::laws::{self, Laws};
use super::nozzle::Nozzle;
use super::placed::{self, MOST_OFF_MM};
use super::printed::Printed;
use crate::dialect::{Dialect, Heard, Listener};
use crate::register::{self, Copies, Placement};
use crate::weaving::{ALL, heights_mm, turn_matters};
use crate::{Source, WeaveError};

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
        if let Some(off) = self.placed_off_mm.filter(|off| *off > MOST_OFF_MM) {
            return Some(format!(
                "the part is up to {off:.1} mm from the place in the file's header, more than \
                 {MOST_OFF_MM} mm: its colours are in the wrong place. Weave it again, with \
                 --stand if it is not found correctly"
            ));
        }
        if let Some((line, what)) = self.unclear.first() {
            return Some(format!("line {line} makes no sense: {what}"));
        }
        if self.changes == 0 {
            return Some("it has no blend command of this dialect".to_owned());
        }
        None
    }
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
        progress.stage("Replaying the woven toolpath");
        let mut run = Run {
            verify: self,
            bed_mm: self.painted.surface().mesh().bounds().0.z,
            copies: Copies::new(self.painted.surface().mesh(), &self.stands),
            nozzle: Nozzle::new(self.dialect, components, self.chamber)?,
            colour: None,
            heights: Heights::default(),
            plan_sha256: plan.sha256()?,
            found: Verified {
                same,
                laws,
                plan_matches: None,
                placed_off_mm: placed::off_mm(
                    self.painted.surface().mesh(),
                    &placed::told(woven)?,
                    &self.stands,
                ),
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
        let laws = laws::check(
            before,
            after,
            self.settings,
            listener,
            None,
            size_bytes,
            progress,
        )?;
        Ok((None, Some(laws)))
    }
}

/// How a head begins the line that tells of another order.
const ORDER: &str = "; Order: runs changed places";

/// Whether a file's head says that runs changed places.
fn tells_of_order(woven: &Source<'_>) -> Result<bool, WeaveError> {
    let mut head = Vec::new();
    let mut file = woven.read()?.take(64 * 1024);
    file.read_to_end(&mut head).map_err(WeaveError::Open)?;
    let text = String::from_utf8_lossy(&head);
    Ok(text.lines().any(|line| line.trim().starts_with(ORDER)))
}

struct Run<'a> {
    verify: &'a Verify<'a>,
    /// Height of the part's lowest place, mm.
    bed_mm: f64,
    copies: Copies,
    nozzle: Nozzle,
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
                Heard::Change(shares) => self.found.changes += u64::from(fed != Some(shares)),
                Heard::Unclear(text) if self.found.unclear.len() < MOST_UNCLEAR => {
                    self.found.unclear.push((number, text));
                }
                Heard::Unclear(_) => {}
            }
            if seen.line.form() == Form::Quiet && self.found.plan_matches.is_none() {
                self.found.plan_matches = self.names_plan(seen.line.comment());
            }
            if let Step::Move(step) = seen.step
                && step.fresh_mm > 0.0
            {
                self.lay(&step, step.fresh_mm * area_mm2, number);
            }
            let offset = seen.line.offset();
            if offset >= next_look {
                next_look = offset + (1 << 20);
                progress.set(offset as f32 / woven.size_bytes().max(1) as f32);
                progress.check()?;
            }
        }
        // A dialect may select its blends like tools.
        let told = replay.cautions().as_slice().iter();
        self.found.cautions = told
            .filter(|c| foreign_tools || c.kind != CautionKind::OtherTool)
            .copied()
            .collect();
        Ok(())
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
        let (_, part) = self.copies.to_part(plate);
        // The outer line's middle lies half a line within the skin, the next one's three halves.
        let visible_mm = painted.plan().machine.nozzle_mm;
        let Some(near) = painted.surface().nearest_seen_within(part, visible_mm) else {
            return;
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

/// Finds where the part stands in a woven file, by its outlines: placements for
/// [`Verify::stands`]. Where the part looks the same at several turns, the file's head says
/// which one was meant, if that fits as well as the best.
///
/// # Errors
/// When it can't be read or found, or when two turns fit that are not the same.
pub fn find_stands(
    painted: &Painted,
    woven: &Source<'_>,
    settings: Settings,
    progress: &Progress,
) -> Result<Vec<Placement>, WeaveError> {
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
    let stands: Vec<Placement> = found.stands.iter().map(|s| s.placement).collect();
    let told = placed::told(woven)?;
    let turned = |off: Option<f64>| off.is_some_and(|off| off > MOST_OFF_MM);
    if told.len() == stands.len()
        && turned(placed::off_mm(surface.mesh(), &told, &stands))
        && register::fit_as_well(surface.mesh(), layers, &levels, &told, &stands)?
    {
        return Ok(told);
    }
    match turn_matters(painted.plan()) {
        true => {
            found.sure()?;
            Ok(stands)
        }
        false => Ok(stands),
    }
}
