//! Background work: started when the plan has changed, its results taken when they come.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use blend::reach::Match;
use blend::{MixModel, Ramp, ShareLimits, Srgb, Xyz};
use egui::Color32;
use geometry::Progress;
use geometry::layers::Section;
use plan::document::SpoolSet;
use plan::{Paint, Plan, Sourced, Wall};

use super::toolpath::ToolpathWork;
use super::{Page, Session};
use crate::jobs::dirty::{self, Scope};
use crate::jobs::load::Loaded;
use crate::jobs::prepare::{self, Prepared};
use crate::jobs::printed::{self, Printed};
use crate::jobs::repaint::{self, Repainted};
use crate::jobs::sketch::Sketcher;
use crate::jobs::skin::Skin;
use crate::jobs::spool_file::Found;
use crate::jobs::standing::{self, Review};
use crate::jobs::summary::{self, Summary};
use crate::jobs::thumbnails::{self, Card};
use crate::jobs::toolpath_file::ENDINGS;
use crate::jobs::{Job, Outcome, colours};
use crate::state::profile::Piece;
use crate::state::skin::{PrintRows, RampRow, RampTable, SkinUpdate};
use crate::state::view::Look;

/// What to do with the file that a dialog gives.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Browse {
    Open,
    Spools,
    Save,
    Folder,
    Toolpath,
    Woven,
    Dialect,
}

/// The jobs, and what they work from.
#[derive(Default)]
pub struct Work {
    /// Opening a part.
    pub load: Option<Job<Loaded>>,
    /// Writing what the printer needs.
    pub prepare: Option<Job<Prepared>>,
    repaint: Option<Job<Repainted>>,
    summary: Option<Job<Summary>>,
    printed: Option<Job<Printed>>,
    review: Option<Job<Review>>,
    /// Reading or fitting spools.
    pub(super) spools: Option<Job<Found>>,
    cards: Option<Job<Vec<Card>>>,
    /// Weaving, checking and following toolpaths.
    pub(super) toolpath: ToolpathWork,
    dialog: Option<(Browse, Job<Option<PathBuf>>)>,
    /// The skin of the open part.
    pub skin: Option<Arc<Skin>>,
    /// Who draws what lies over it, once something does.
    pub(super) sketcher: Option<Sketcher>,
    /// The plan as it is drawn.
    drawn_plan: Option<Plan>,
    /// The plan that is being drawn.
    ordered_plan: Option<Plan>,
    /// The revision whose colours are on the card, and how they are shown.
    coloured: Option<(u64, Look, bool)>,
    /// The revision that is drawn, and the one the summary is of.
    drawn: Option<u64>,
    /// Row of the table of colours at which the drawn regions begin.
    first_row: usize,
    /// The rows, some of them still in use by pieces drawn before.
    table: Vec<RampRow>,
    /// The paints that the regions' rows are of.
    row_paints: Vec<Paint>,
    section: Option<(f64, Section)>,
    slicing: Option<Job<(f64, Section)>>,
    cards_wanted: bool,
    redraw_all: bool,
}

/// A model, and the spools and the wall that it was made for: making one takes a while.
pub(super) struct Mixing {
    spools: Sourced<SpoolSet>,
    wall: Option<Wall>,
    model: Arc<dyn MixModel>,
    /// The closest blend to a colour, looked for once.
    closest: Option<(Srgb, ShareLimits, Match)>,
}

impl Work {
    /// Leaves off drawing the demonstrations: a part is being opened, and wants the processor.
    pub(super) fn leave_cards(&mut self) {
        if self.cards.take().is_some() {
            self.cards_wanted = false;
        }
    }

    /// Looks for signatures again.
    pub(super) fn leave_review(&mut self) {
        self.review = None;
    }

    /// Forgets the part.
    pub(super) fn drop_part(&mut self) {
        let cards = (self.cards.take(), self.cards_wanted);
        *self = Self::default();
        (self.cards, self.cards_wanted) = cards;
    }

    /// The part is new: everything has to be drawn.
    pub(super) fn repaint_all(&mut self) {
        self.redraw_all = true;
    }
}

impl Session {
    /// Takes what jobs have finished and starts those that are due. Gives how long until it
    /// has to be called again though nothing happens.
    pub fn tick(&mut self, now: Instant) -> Option<Duration> {
        self.take_results();
        self.refresh_model();
        self.colour_at_once();
        self.start_repaint();
        self.start_summary();
        self.start_printed();
        self.start_review();
        self.keep_following();
        self.autosave(now)
    }

    /// Works until nothing is left to do: for tests and pictures.
    pub fn finish_work(&mut self) {
        loop {
            self.tick(Instant::now());
            if !self.is_working() {
                return;
            }
            std::thread::sleep(Duration::from_millis(1));
        }
    }

    fn take_results(&mut self) {
        if let Some(outcome) = poll(&mut self.work.load) {
            self.take_loaded(outcome);
        }
        if let Some(outcome) = poll(&mut self.work.repaint) {
            self.take_repainted(outcome);
        }
        if let Some(outcome) = poll(&mut self.work.summary) {
            self.take_summary(outcome);
        }
        if let Some(outcome) = poll(&mut self.work.printed) {
            self.take_printed(outcome);
        }
        if let Some(outcome) = poll(&mut self.work.review) {
            self.take_review(outcome);
        }
        if let Some(outcome) = poll(&mut self.work.spools) {
            self.take_found_spools(outcome);
        }
        match poll(&mut self.work.cards) {
            Some(Outcome::Done(cards)) => self.cards = cards,
            Some(Outcome::Failed(why)) => self.notices.error(why),
            Some(Outcome::Cancelled) | None => {}
        }
        match poll(&mut self.work.prepare) {
            Some(Outcome::Done(prepared)) => {
                self.notices
                    .done(format!("Prepared in {}", prepared.folder.display()));
                self.prepared = Some(prepared);
            }
            Some(Outcome::Failed(why)) => self.notices.error(why),
            Some(Outcome::Cancelled) => self.notices.done("Preparing was stopped."),
            None => {}
        }
        self.take_toolpath_results();
        self.take_sketches();
        self.take_dialog();
    }

    /// Makes the mixing model anew when the spools have changed.
    pub(super) fn refresh_model(&mut self) {
        let Some(doc) = &self.doc else {
            self.mixing = None;
            return;
        };
        let (spools, wall) = (&doc.plan().spools, doc.plan().wall);
        let known = |m: &Mixing| m.spools == *spools && m.wall == wall;
        if !self.mixing.as_ref().is_some_and(known) {
            self.mixing = Some(Mixing {
                spools: spools.clone(),
                wall,
                model: doc.plan().model(),
                closest: None,
            });
            self.work.row_paints.clear();
        }
    }

    /// The mixing model of the open plan.
    pub fn model(&self) -> Option<Arc<dyn MixModel>> {
        self.mixing.as_ref().map(|m| m.model.clone())
    }

    /// The blend that comes closest to the wanted colour, as far as the machine can feed it.
    pub fn closest_blend(&mut self) -> Option<Match> {
        let machine = &self.doc.as_ref()?.plan().machine;
        let limits = ShareLimits {
            share_step: machine.share_step,
            least_share: machine.least_share,
        };
        let mixing = self.mixing.as_mut()?;
        match mixing.closest {
            Some((wanted, with, found)) if wanted == self.wanted && with == limits => Some(found),
            _ => {
                let wanted = Xyz::from_srgb(self.wanted).to_lab();
                let found = blend::closest(mixing.model.as_ref(), wanted, limits);
                mixing.closest = Some((self.wanted, limits, found));
                Some(found)
            }
        }
    }

    fn take_repainted(&mut self, outcome: Outcome<Repainted>) {
        let done = match outcome {
            Outcome::Done(done) => done,
            Outcome::Cancelled => {
                self.work.ordered_plan = None;
                return;
            }
            Outcome::Failed(why) => {
                // Not tried again until something changes.
                self.work.drawn = self.doc.as_ref().map(|d| d.revision());
                self.notices.error(why);
                return;
            }
        };
        let work = &mut self.work;
        work.drawn = Some(done.revision);
        work.drawn_plan = work.ordered_plan.take();
        work.redraw_all = false;
        self.painted = Some(done.painted);
        if done.scope == Scope::All {
            self.begin_rows_anew();
        }
        // The colours go first, so that no piece is ever drawn with rows that aren't there.
        // Equal areas are known only now.
        self.work.coloured = None;
        self.work.row_paints.clear();
        self.colour_at_once();
        let first = self.work.first_row as u32;
        for (index, mut mesh) in done.pieces {
            mesh.region.iter_mut().for_each(|r| *r += first);
            self.skin_updates.push_back(SkinUpdate::Piece(index, mesh));
        }
        self.part_is_redrawn();
    }

    /// All pieces will be replaced, one after another: until then the old ones must keep
    /// their colours, so the new regions get other rows of the table.
    fn begin_rows_anew(&mut self) {
        let work = &mut self.work;
        let count = work.drawn_plan.as_ref().map_or(0, |p| p.regions.len());
        let old_end = work.table.len();
        work.first_row = match work.first_row >= count {
            true => 0,
            false => old_end,
        };
        if let Some(skin) = &work.skin
            && work.drawn_plan.is_some()
            && old_end == 0
        {
            let pieces = SkinUpdate::Pieces(skin.pieces.len());
            self.skin_updates.push_back(pieces);
        }
    }

    /// Sends the table of colours when the plan's colours have changed, before the part is
    /// drawn anew: a blend that is dragged shows at once, whatever the mesh.
    fn colour_at_once(&mut self) {
        let Some(doc) = &self.doc else { return };
        let state = (
            doc.revision(),
            self.view.look,
            self.print_in_sight().is_some(),
        );
        if self.work.coloured == Some(state) {
            return;
        }
        let relit = self.work.coloured.map(|c| (c.1, c.2)) != Some((state.1, state.2));
        let Some(drawn) = &self.work.drawn_plan else {
            return;
        };
        let plan = doc.plan();
        let Some(model) = self.model() else { return };
        // Regions that have come since have no pieces yet; those that have gone keep theirs.
        let paints: Vec<Paint> = drawn
            .regions
            .iter()
            .enumerate()
            .map(|(index, was)| {
                let now = plan.regions.get(index);
                let same = now.filter(|r| r.mask == was.mask && r.brush == was.brush);
                same.unwrap_or(was).paint.clone()
            })
            .collect();
        let known = |index: usize, paint: &Paint| {
            let same = self.work.row_paints.get(index) == Some(paint);
            let row = self.work.table.get(self.work.first_row + index);
            row.filter(|_| same).cloned()
        };
        let rows: Vec<RampRow> = paints
            .iter()
            .enumerate()
            .map(|(index, paint)| {
                known(index, paint).unwrap_or_else(|| self.row_of(index, paint, model.as_ref()))
            })
            .collect();
        self.work.row_paints = paints;
        let first = self.work.first_row;
        let table = &mut self.work.table;
        if table.len() < first + rows.len() {
            table.resize(first + rows.len(), RampRow::plain([0.5; 3]));
        }
        let mut changed = relit;
        for (slot, row) in table.iter_mut().skip(first).zip(rows) {
            changed |= *slot != row;
            *slot = row;
        }
        self.work.coloured = Some(state);
        if changed {
            let rows = self.rows_shown();
            self.skin_updates
                .retain(|u| !matches!(u, SkinUpdate::Ramps(_)));
            self.skin_updates
                .push_front(SkinUpdate::Ramps(RampTable { rows }));
        }
    }

    /// The table, with the colours as printed behind it if these are shown.
    fn rows_shown(&self) -> Vec<RampRow> {
        let mut rows = self.work.table.clone();
        let Some(printed) = self.print_in_sight() else {
            return rows;
        };
        for (region, stretches) in printed.regions.iter().enumerate() {
            let first = rows.len();
            let Some(row) = rows.get_mut(self.work.first_row + region) else {
                break;
            };
            row.printed = Some(PrintRows {
                first,
                count: stretches.len(),
            });
            let look = self.view.look;
            rows.extend(stretches.iter().map(|s| s.row(look)));
        }
        rows
    }

    /// The part as it will be printed, if that is to be shown and is worked out.
    pub fn print_in_sight(&self) -> Option<&Printed> {
        let printed = self.printed_now()?;
        (self.view.look != Look::Asked).then_some(printed)
    }

    /// The part as it will be printed, if that is worked out for the plan as it is.
    pub fn printed_now(&self) -> Option<&Printed> {
        let revision = self.doc.as_ref()?.revision();
        let now = self.printed.revision == Some(revision) && self.work.drawn == Some(revision);
        now.then_some(&self.printed)
    }

    /// The colour in which the ribbon shows a piece of a layer.
    pub fn piece_colour(&self, layer: usize, piece: &Piece) -> Color32 {
        let printed = self.print_in_sight();
        match printed.and_then(|p| p.colour(self.view.look, layer, piece.dose)) {
            Some(colour) => colour,
            None => crate::panels::widgets::colour32(piece.colour),
        }
    }

    fn row_of(&self, region: usize, paint: &Paint, model: &dyn MixModel) -> RampRow {
        match paint {
            Paint::Fixed(shares) => RampRow::plain(colours::linear(shares, model)),
            Paint::Fade { .. } => match self.ramp_for(region, paint, model) {
                Some(ramp) => colours::of_ramp(&ramp, model),
                None => RampRow::plain([0.5; 3]),
            },
        }
    }

    /// The ramp of a region's fade as it is now.
    pub fn ramp_of(&self, region: usize) -> Option<Ramp> {
        let plan = self.doc.as_ref()?.plan();
        let paint = &plan.regions.get(region)?.paint;
        self.ramp_for(region, paint, self.model()?.as_ref())
    }

    /// The ramp that is laid on the part, if the paint is still the same; otherwise one made
    /// now, in which equal areas are not known until the plan has been laid on the part.
    fn ramp_for(&self, region: usize, paint: &Paint, model: &dyn MixModel) -> Option<Ramp> {
        let Paint::Fade { fade, .. } = paint else {
            return None;
        };
        let laid = self.painted.as_ref().filter(|painted| {
            let plan = painted.plan();
            let now = self.doc.as_ref().map(|d| (&d.plan().spools, d.plan().wall));
            let same = plan.regions.get(region).map(|r| &r.paint) == Some(paint);
            same && now == Some((&plan.spools, plan.wall))
        });
        match laid.and_then(|painted| painted.ramp(region)) {
            Some(ramp) => Some(ramp.clone()),
            None => Some(Ramp::new(fade, model, None)),
        }
    }

    fn start_repaint(&mut self) {
        let (Some(doc), Some(skin), Some(model)) = (&self.doc, &self.work.skin, self.model())
        else {
            return;
        };
        let revision = doc.revision();
        let work = &self.work;
        if work.repaint.is_some() || (work.drawn == Some(revision) && !work.redraw_all) {
            return;
        }
        // While a stroke is drawn, what is laid over the part shows it.
        if self.hand.gesture.is_some() && !work.redraw_all {
            return;
        }
        let scope = match (&work.drawn_plan, work.redraw_all) {
            (Some(drawn), false) => dirty::scope(drawn, doc.plan(), skin),
            _ => Scope::All,
        };
        let order = repaint::Order {
            revision,
            plan: doc.plan().clone(),
            surface: doc.surface.clone(),
            before: self.painted.clone(),
            skin: skin.clone(),
            model,
            scope,
        };
        self.work.ordered_plan = Some(doc.plan().clone());
        let job = Job::start("Colouring the part", &self.waker, move |p| {
            repaint::run(order, p)
        });
        self.work.repaint = Some(job);
    }

    fn start_summary(&mut self) {
        let (Some(doc), Some(painted)) = (&self.doc, &self.painted) else {
            return;
        };
        let Some(drawn) = self.work.drawn else { return };
        let idle = self.work.repaint.is_none() && self.work.summary.is_none();
        if !idle || self.summary.revision == Some(drawn) || drawn != doc.revision() {
            return;
        }
        let order = summary::Order {
            revision: drawn,
            painted: painted.clone(),
        };
        let job = Job::start("Working out the layers", &self.waker, move |p| {
            summary::run(order, p)
        });
        self.work.summary = Some(job);
    }

    /// Whether anyone asks how the part will come out.
    fn printed_wanted(&self) -> bool {
        self.view.look != Look::Asked || self.drawer == super::Drawer::Checks
    }

    /// Whether that is still to be worked out.
    fn printed_is_behind(&self) -> bool {
        self.printed_wanted() && self.printed.revision != self.summary.revision
    }

    fn start_printed(&mut self) {
        if self.work.printed.is_some() || !self.printed_is_behind() || self.summary_is_behind() {
            return;
        }
        let (Some(painted), Some(schedule), Some(revision)) = (
            self.painted.clone(),
            self.summary.schedule.clone(),
            self.summary.revision,
        ) else {
            return;
        };
        let order = printed::Order {
            revision,
            painted,
            schedule,
        };
        let job = Job::start("Following the plastic", &self.waker, move |p| {
            printed::run(order, p)
        });
        self.work.printed = Some(job);
    }

    /// What a review of the open plan would hang on.
    fn reviewed_state(&self) -> Option<standing::Of> {
        let doc = self.doc.as_ref()?;
        Some((!doc.is_unsaved()).then(|| doc.revision()))
    }

    fn start_review(&mut self) {
        let (Some(doc), Some(of)) = (&self.doc, self.reviewed_state()) else {
            return;
        };
        if self.work.review.is_some() || self.review.of == Some(of) {
            return;
        }
        let order = standing::Order {
            of,
            plan_file: doc.origin.plan_file.clone(),
            saved: of.map(|_| doc.plan().clone()),
        };
        let job = Job::start("Looking for signatures", &self.waker, move |_| {
            standing::run(order)
        });
        self.work.review = Some(job);
    }

    fn take_review(&mut self, outcome: Outcome<Review>) {
        let of = self.reviewed_state();
        self.review = match outcome {
            Outcome::Done(review) => review,
            Outcome::Cancelled => Review {
                of,
                ..Review::default()
            },
            // Stands where the review would, so it isn't told twice.
            Outcome::Failed(words) => Review {
                of,
                words,
                approved: false,
            },
        };
    }

    fn take_printed(&mut self, outcome: Outcome<Printed>) {
        match outcome {
            Outcome::Done(printed) => self.printed = printed,
            // Not tried again until something changes.
            Outcome::Cancelled => self.printed = Printed::none(self.summary.revision),
            Outcome::Failed(why) => {
                self.printed = Printed::none(self.summary.revision);
                self.notices.error(why);
            }
        }
    }

    fn take_summary(&mut self, outcome: Outcome<Summary>) {
        match outcome {
            Outcome::Done(summary) => self.summary = summary,
            // Not tried again until something changes.
            Outcome::Cancelled => self.no_summary(),
            Outcome::Failed(why) => {
                self.no_summary();
                self.notices.error(why);
            }
        }
    }

    fn no_summary(&mut self) {
        self.summary.revision = self.work.drawn;
        self.summary.schedule = None;
    }

    /// Whether the summary is of an earlier plan.
    pub fn summary_is_behind(&self) -> bool {
        self.summary.revision != self.doc.as_ref().map(|d| d.revision())
    }

    /// What a person should know before printing: faults of the mesh, then of the plan.
    pub fn warnings(&self) -> Vec<String> {
        let findings = self.doc.iter().flat_map(|d| d.findings.iter().cloned());
        let of_plan = self.summary.warnings.iter().map(|w| w.text.clone());
        findings.chain(of_plan).collect()
    }

    /// The outline of the part at the layer cursor and its height, mm; the last one until that
    /// is cut.
    pub fn section_at_cursor(&mut self) -> Option<(f64, &Section)> {
        let doc = self.doc.as_ref()?;
        if let Some(Outcome::Done(cut)) = poll(&mut self.work.slicing) {
            self.work.section = Some(cut);
        }
        let z = self.view.cursor_mm;
        let known = self.work.section.as_ref().is_some_and(|s| s.0 == z);
        if !known && self.work.slicing.is_none() {
            let mesh = doc.mesh().clone();
            let cut = move |_: &Progress| Ok((z, geometry::layers::slice(&mesh, z)));
            self.work.slicing = Some(Job::start("Cutting the part", &self.waker, cut));
        }
        self.work.section.as_ref().map(|(z, section)| (*z, section))
    }

    /// Whether anything is being worked on.
    pub fn is_working(&self) -> bool {
        let work = &self.work;
        let jobs = [
            work.load.is_some(),
            work.repaint.is_some(),
            work.summary.is_some(),
            work.printed.is_some(),
            work.review.is_some(),
            work.spools.is_some(),
            work.prepare.is_some(),
            work.toolpath.is_working(),
            self.sketches_behind() > 0,
            work.slicing.is_some(),
        ];
        let behind = self.doc.is_some()
            && (self.work.drawn != self.doc.as_ref().map(|d| d.revision())
                || self.summary_is_behind()
                || (self.summary.schedule.is_some() && self.printed_is_behind()));
        jobs.contains(&true) || (behind && self.hand.gesture.is_none())
    }

    /// Whether what the printer needs is being written.
    pub fn is_preparing(&self) -> bool {
        self.work.prepare.is_some()
    }

    /// The work to show: its title, its stage, and how far it is.
    pub fn busy_with(&self) -> Option<(String, String, f32)> {
        fn told<T: Send + 'static>(job: &Option<Job<T>>) -> Option<(String, String, f32)> {
            job.as_ref().map(|job| {
                let (stage, fraction) = job.progress().seen();
                (job.title().to_owned(), stage, fraction)
            })
        }
        let work = &self.work;
        told(&work.load)
            .or_else(|| told(&work.prepare))
            .or_else(|| work.toolpath.told())
            .or_else(|| told(&work.spools))
            .or_else(|| told(&work.repaint))
            .or_else(|| told(&work.summary))
            .or_else(|| told(&work.printed))
    }

    /// Stops the work that is shown. Work that keeps the stage up to date starts again by
    /// itself when something changes.
    pub fn cancel_work(&mut self) {
        let work = &self.work;
        let shown = [
            work.load.as_ref().map(|j| j.progress()),
            work.prepare.as_ref().map(|j| j.progress()),
            work.toolpath.progress(),
            work.spools.as_ref().map(|j| j.progress()),
        ];
        match shown.into_iter().flatten().next() {
            Some(progress) => progress.cancel(),
            None => {
                if let Some(job) = &work.repaint {
                    job.progress().cancel();
                }
            }
        }
    }

    /// Whether the demonstrations' pictures are being drawn. Nothing waits for them.
    pub fn is_drawing_cards(&self) -> bool {
        self.work.cards.is_some()
    }

    /// Makes sure that the demonstrations' pictures are drawn.
    pub fn want_cards(&mut self) {
        // Not while a part is being opened: then they are not seen at all.
        if self.work.cards_wanted || self.work.load.is_some() {
            return;
        }
        self.work.cards_wanted = true;
        if self.cards.is_empty() {
            match thumbnails::blank() {
                Ok(cards) => self.cards = cards,
                Err(why) => self.notices.error(why),
            }
        }
        let job = Job::start("Drawing the demonstrations", &self.waker, thumbnails::run);
        self.work.cards = Some(job);
    }

    /// Asks where to write what the printer needs.
    pub(super) fn ask_prepare(&mut self) {
        let Some(doc) = &self.doc else { return };
        let folder = prepare::suggested_folder(&doc.origin);
        self.prepared = None;
        self.page = Some(Page::Prepare {
            folder: folder.display().to_string(),
        });
    }

    /// Writes what the printer needs into a folder.
    pub fn prepare(&mut self, folder: &Path) {
        let Some(doc) = &self.doc else { return };
        let order = prepare::Order {
            plan_file: doc.origin.plan_file.clone().unwrap_or_default(),
            plan: doc.plan().clone(),
            surface: doc.surface.clone(),
            notes: doc.notes.clone(),
            folder: folder.to_owned(),
        };
        self.prepared = None;
        let job = Job::start("Preparing", &self.waker, move |p| prepare::run(order, p));
        self.work.prepare = Some(job);
    }

    /// Opens the system's dialog for a file to open.
    pub fn browse_to_open(&mut self) {
        self.browse(Browse::Open, || {
            rfd::FileDialog::new()
                .set_title("Open a mesh or a plan")
                .add_filter(
                    "Meshes and plans",
                    &["stl", "obj", "ply", "off", "3mf", "ron"],
                )
                .pick_file()
        });
    }

    /// Opens the system's dialog for a file of spools or readings.
    pub fn browse_for_spools(&mut self) {
        self.browse(Browse::Spools, || {
            rfd::FileDialog::new()
                .set_title("Spools, or the readings of a test print")
                .add_filter("Spools and readings", &["ron", "csv"])
                .pick_file()
        });
    }

    /// Opens the system's dialog for a file to save to.
    pub fn browse_to_save(&mut self, path: &str) {
        let path = PathBuf::from(path);
        self.browse(Browse::Save, move || {
            let mut dialog = rfd::FileDialog::new().set_title("Save the plan as");
            if let Some(folder) = path.parent().filter(|f| f.is_dir()) {
                dialog = dialog.set_directory(folder);
            }
            if let Some(name) = path.file_name() {
                dialog = dialog.set_file_name(name.to_string_lossy());
            }
            dialog.save_file()
        });
    }

    /// Opens the system's dialog for a sliced toolpath.
    pub fn browse_for_toolpath(&mut self) {
        let folder = self.toolpath_folder();
        self.browse(Browse::Toolpath, move || {
            let dialog = rfd::FileDialog::new()
                .set_title("Your sliced toolpath")
                .add_filter("Toolpaths", &ENDINGS)
                .add_filter("All files", &["*"]);
            in_folder(dialog, folder).pick_file()
        });
    }

    /// Opens the system's dialog for the woven file: one to write, or one that is there.
    pub fn browse_for_woven(&mut self) {
        let folder = self.toolpath_folder();
        let name = self.toolpath.draft.woven_file();
        let name = name.and_then(|f| Some(f.file_name()?.to_string_lossy().into_owned()));
        self.browse(Browse::Woven, move || {
            let dialog = rfd::FileDialog::new()
                .set_title("The woven file")
                .set_file_name(name.unwrap_or_default());
            in_folder(dialog, folder).save_file()
        });
    }

    /// Opens the system's dialog for a dialect file.
    pub fn browse_for_dialect(&mut self) {
        self.browse(Browse::Dialect, || {
            rfd::FileDialog::new()
                .set_title("A dialect file")
                .add_filter("Dialects", &["ron"])
                .pick_file()
        });
    }

    /// Opens the system's dialog for a folder.
    pub fn browse_for_folder(&mut self) {
        self.browse(Browse::Folder, || {
            rfd::FileDialog::new()
                .set_title("Folder for what the printer needs")
                .pick_folder()
        });
    }

    fn browse(&mut self, what: Browse, ask: impl FnOnce() -> Option<PathBuf> + Send + 'static) {
        if self.work.dialog.is_none() {
            let job = Job::start("Choosing a file", &self.waker, move |_| Ok(ask()));
            self.work.dialog = Some((what, job));
        }
    }

    fn take_dialog(&mut self) {
        let Some((what, job)) = &mut self.work.dialog else {
            return;
        };
        let (what, Some(outcome)) = (*what, job.poll()) else {
            return;
        };
        self.work.dialog = None;
        let chosen = match outcome {
            Outcome::Done(chosen) => chosen,
            Outcome::Failed(why) => {
                self.notices.warning(format!(
                    "The system has no dialog for files; type the path. {why}"
                ));
                None
            }
            Outcome::Cancelled => None,
        };
        let Some(file) = chosen else { return };
        match (what, &mut self.page) {
            (Browse::Open, _) => {
                self.page = None;
                self.open(file);
            }
            (Browse::Spools, _) => self.take_spool_file(file),
            (Browse::Toolpath, _) => self.take_toolpath(&file),
            (Browse::Woven, _) => self.toolpath.draft.woven = file.display().to_string(),
            (Browse::Dialect, _) => {
                self.toolpath.draft.built_in = None;
                self.toolpath.draft.dialect_file = file.display().to_string();
            }
            (Browse::Save, Some(Page::SaveAs { path, .. })) => *path = file.display().to_string(),
            (Browse::Folder, Some(Page::Prepare { folder })) => {
                *folder = file.display().to_string();
            }
            _ => {}
        }
    }
}

fn in_folder(dialog: rfd::FileDialog, folder: Option<PathBuf>) -> rfd::FileDialog {
    match folder {
        Some(folder) => dialog.set_directory(folder),
        None => dialog,
    }
}

pub(super) fn poll<T: Send + 'static>(job: &mut Option<Job<T>>) -> Option<Outcome<T>> {
    let outcome = job.as_mut()?.poll()?;
    *job = None;
    Some(outcome)
}
