//! A picture of the view: asked for, drawn by the scene, written in the background.

use std::path::Path;

use super::Session;
use crate::jobs::view_copy::{self, Done, Pixels};
use crate::jobs::{Job, Outcome};
use crate::model::document::Document;
use crate::model::names::{file_name, plan_stem};
use crate::model::page::Page;
use crate::model::view_copy::{Form, Size, To, ViewCopy};

impl Session {
    /// Shows the page for a picture of the view.
    pub(super) fn ask_view_copy(&mut self) {
        let Some(doc) = &self.doc else { return };
        let name = format!("{}-view.png", stem(doc));
        let path = self.beside_part().unwrap_or_default() + &name;
        self.page = Some(Page::ViewCopy(Box::new(Form {
            path,
            size: Size::AsSeen,
            typed: (1920, 1080),
            clear: false,
        })));
    }

    /// Has the scene draw a picture of the view.
    pub(super) fn copy_view(&mut self, order: ViewCopy) {
        self.page = None;
        self.view.lift_region = None;
        self.copying.wanted = Some(order);
    }

    /// The picture that the scene is to draw.
    pub fn view_copy_wanted(&self) -> Option<&ViewCopy> {
        self.copying.wanted.as_ref()
    }

    /// Whether a picture of the view is being drawn or written.
    pub fn is_copying_view(&self) -> bool {
        self.copying.wanted.is_some() || self.copying.job.is_working()
    }

    /// Takes the picture that the scene has drawn, or why it has drawn none.
    pub fn take_view_pixels(&mut self, drawn: Result<Pixels, String>) {
        let Some(order) = self.copying.wanted.take() else {
            return;
        };
        match drawn {
            Ok(pixels) => {
                let job = Job::start("Writing the picture", &self.waker, move |progress| {
                    view_copy::run(&order, pixels, progress)
                });
                self.copying.job.start(job);
            }
            Err(why) => self.notices.error(why),
        }
    }

    pub(super) fn take_view_copy(&mut self) {
        match self.copying.job.poll() {
            Some(Outcome::Done(Done::File(file))) => {
                let name = file_name(&file);
                self.notices
                    .done(format!("Wrote {name}: {}", file.display()));
            }
            Some(Outcome::Done(Done::Clipboard(clipboard))) => {
                self.copying.clipboard = Some(*clipboard);
                self.notices.done("The view is on the clipboard.");
            }
            Some(Outcome::Failed(why)) => self.notices.error(why),
            Some(Outcome::Cancelled) => self.notices.done("Writing the picture was cancelled."),
            None => {}
        }
    }

    /// Whether the picture of the view can go somewhere now.
    pub(super) fn can_copy_view(&self, to: &To) -> bool {
        let named = match to {
            To::File(file) => !file.as_os_str().is_empty(),
            To::Clipboard => true,
        };
        named && self.doc.is_some() && !self.is_copying_view()
    }
}

/// What the part's files are called.
fn stem(doc: &Document) -> String {
    let origin = &doc.origin;
    let mesh = || origin.mesh_file.as_deref().and_then(Path::file_stem);
    match (&origin.plan_file, &origin.demo) {
        (Some(plan), _) => plan_stem(plan),
        (None, Some(demo)) => demo.clone(),
        (None, None) => mesh().map_or_else(|| "part".into(), |s| s.to_string_lossy().into_owned()),
    }
}
