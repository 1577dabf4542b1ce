//! Spools from files, and fits to test prints.

use std::path::{Path, PathBuf};

use blend::{MeasuredSpools, Shares, Spool, SpoolColour, Srgb};
use plan::{Edit, External, Paint, Region, SpoolSet};

use super::Session;
use super::coloured::GREY;
use crate::jobs::spool_file::{self, Found};
use crate::jobs::{Job, Outcome};
use crate::model::names::from_plan;
use crate::model::page::Page;

impl Session {
    /// What was measured of the plan's spools.
    pub fn measured_spools(&self) -> Option<&MeasuredSpools> {
        self.doc.as_ref()?.plan().spools.measured.as_ref()
    }

    /// Asks which file to take spools from.
    pub fn ask_spool_file(&mut self) {
        if let Some(path) = self.beside_part() {
            self.page = Some(Page::SpoolFile { path });
        }
    }

    /// Takes spools from a file, or fits them to a table of readings.
    pub fn take_spool_file(&mut self, file: PathBuf) {
        self.page = None;
        let job = Job::start("Reading the spools", &self.waker, move |progress| {
            spool_file::run(&file, progress)
        });
        self.fitted.start(job);
    }

    pub(super) fn take_found_spools(&mut self, outcome: Outcome<Found>) {
        match outcome {
            Outcome::Done(Found::Spools { set, file }) => self.set_spools(set, &file),
            Outcome::Done(Found::Fitted(fitted)) => {
                *self.fitted = Some(fitted);
                self.page = Some(Page::Steps);
            }
            Outcome::Failed(why) => self.notices.error(why),
            Outcome::Cancelled => {}
        }
    }

    /// Writes the fit that waits, and gives the plan its spools.
    pub fn use_fitted(&mut self) {
        let Some(fitted) = self.fitted.take() else {
            return;
        };
        self.page = None;
        let written = plan::ron_text::write(&fitted.measured)
            .map_err(|e| e.to_string())
            .and_then(|text| {
                project::write::bytes(&fitted.to_write, text.as_bytes()).map_err(|e| e.to_string())
            });
        match written {
            Ok(()) => self.set_spools(fitted.measured.into(), &fitted.to_write),
            Err(why) => {
                self.notices.error(why);
                *self.fitted = Some(fitted);
            }
        }
    }

    /// Gives the plan the spools of a file.
    fn set_spools(&mut self, set: SpoolSet, file: &Path) {
        let Some(doc) = &self.doc else { return };
        let name = from_plan(file, doc.origin.plan_file.as_deref());
        let spools = External {
            file: Some(name.clone()),
            value: set,
        };
        let edit = Edit::SetSpools {
            spools: Box::new(spools),
            paints: Vec::new(),
            blends: Vec::new(),
        };
        if self.edit(edit) {
            self.notices
                .done(format!("The spools now come from {name}"));
        }
    }

    /// Takes the spools into the plan itself, to be changed there.
    pub fn own_spools(&mut self) {
        let Some(doc) = &self.doc else { return };
        let list = doc.plan().spools.list.clone();
        self.edit(Edit::SetSpools {
            spools: Box::new(list.into()),
            paints: Vec::new(),
            blends: Vec::new(),
        });
    }

    /// Adds a spool; no blend uses it yet.
    pub fn add_spool(&mut self) {
        let Some(doc) = &self.doc else { return };
        let at = doc.plan().spools.len();
        let grey = SpoolColour::Hex(Srgb([0x80, 0x80, 0x80]));
        let spool = Spool::new(format!("Spool {}", at + 1), grey);
        self.edit(Edit::AddSpool { at, spool });
    }

    /// Whether a spool can go: not the last one, and not while a blend uses it.
    pub fn can_remove_spool(&self, spool: usize) -> bool {
        let Some(doc) = &self.doc else { return false };
        let uses = |s: &Shares| s.as_slice().get(spool).is_some_and(|&share| share > 0.0);
        let used = |r: &Region| match &r.paint {
            Paint::Fixed(shares) | Paint::Blend(plan::NamedBlend { shares, .. }) => uses(shares),
            Paint::Fade { fade, .. } => fade.stops.iter().any(|s| uses(&s.shares)),
        };
        doc.plan().spools.len() > 1 && !doc.plan().regions.iter().any(used)
    }

    /// The colour of a spool alone.
    pub fn spool_colour(&self, component: usize) -> Srgb {
        let spools = self.doc.as_ref().map(|d| &d.plan().spools.list);
        let spool = spools.and_then(|s| s.get(component));
        spool.map_or(GREY, |s| s.xyz().to_srgb())
    }
}
