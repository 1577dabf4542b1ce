//! The state of the window and what may happen to it, without a window.
//!
//! A session holds the model and, beside each thing that is worked out in the background, the
//! job that fills it. [`Session::apply`] is the one place where commands change it;
//! [`Session::tick`] takes what jobs have finished.

mod autosave;
mod blending;
mod bodies;
mod browsing;
mod cards;
mod coloured;
mod colouring;
mod commands;
mod copying;
mod cutting;
mod dialog;
mod editing;
mod elsewhere;
mod errands;
mod fading;
pub mod filled;
mod filling;
mod finished;
mod finished_part;
mod flat_colours;
pub mod follow;
mod following;
mod named_blends;
mod noticing;
mod opening;
mod outlining;
mod own_colours;
mod painting;
mod photo_work;
mod photograph;
mod photographs;
mod placing;
mod prediction;
mod preparing;
mod preview;
mod previewing;
mod purge_blocks;
mod recovering;
mod regions;
mod reviewing;
mod running;
mod saving;
mod shaping;
mod showing;
mod spools;
mod standing;
mod told;
mod toolpath;
mod toolpath_files;
mod trying;
mod view_copy;
mod viewing;
mod weaving;
mod work;

use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::Arc;

use plan::Painted;
use plan::schedule::Groundwork;

use crate::files::{Home, Left, OnDisk, Recent, Settings};
use crate::jobs::bodies::Cut;
use crate::jobs::flat_colours::FlatColours;
use crate::jobs::load::Loaded;
use crate::jobs::own_colours::OwnColours;
use crate::jobs::picture_file::PictureRead;
use crate::jobs::prepare::Prepared;
use crate::jobs::printed::Printed;
use crate::jobs::section::Cut as SectionCut;
use crate::jobs::spool_file::{Fitted, Found};
use crate::jobs::standing::Review;
use crate::jobs::summary::{Summarised, Summary};
use crate::jobs::thumbnails::Card;
use crate::jobs::{Job, Waker};
use crate::model::chosen::{Chosen, Wanted};
use crate::model::document::Document;
use crate::model::notices::Notices;
use crate::model::page::{Drawer, Page};
use crate::model::skin::SkinUpdate;
use crate::model::strands::StrandUpdate;
use crate::model::tool::Tools;
use crate::model::view::View;

pub use dialog::Picked;
pub use errands::Errands;
pub use finished::Finished;
pub use following::FollowView;
pub use photo_work::PhotoWork;
pub use photographs::Photographs;
pub use told::Told;
pub use toolpath::Toolpath;

use autosave::Autosave;
use coloured::Colouring;
use copying::ViewCopying;
use dialog::Dialog;
use elsewhere::Elsewhere;
use filled::Filled;
use preview::Preview;

/// All that the window knows. Panels read it; commands change it.
pub struct Session {
    /// The open part.
    pub doc: Option<Document>,
    /// Its files as they were read or written here last.
    on_disk: OnDisk,
    elsewhere: Elsewhere,
    /// Whether the part's file does not say its unit, and its size in millimetres is unlikely.
    size_is_odd: bool,
    /// How it is shown.
    pub view: View,
    /// What the pointer does.
    pub tools: Tools,
    /// What is chosen.
    pub chosen: Chosen,
    /// The colour whose closest blend is looked for.
    pub wanted: Wanted,
    /// Whether shares may be set finer than the machine does.
    pub free_shares: bool,
    /// What the person has set for the window.
    pub settings: Settings,
    /// Files that were open lately.
    pub recent: Recent,
    /// What windows that are gone have left.
    pub left: Vec<Left>,
    /// Messages.
    pub notices: Notices,
    /// The drawer.
    pub drawer: Drawer,
    /// A page over the window.
    pub page: Option<Page>,
    /// Demonstrations with their pictures.
    pub cards: Filled<Vec<Card>>,
    cards_begun: bool,
    /// Opens a part.
    loading: Option<Job<Loaded>>,
    /// The plan laid on the shape, as far as it is worked out.
    pub painted: Option<Arc<Painted>>,
    colouring: Colouring,
    preview: Preview,
    /// What is at each height, and the totals.
    pub summary: Filled<Summary, Summarised>,
    /// What the layers were worked out from last.
    groundwork: Option<Groundwork>,
    /// How the part will come out, when someone asked.
    pub printed: Filled<Printed>,
    /// How the plan stands with its reviewers.
    pub review: Filled<Review>,
    section: Filled<Option<SectionCut>, SectionCut>,
    /// Whether the section's face is on the stage.
    face_is_drawn: bool,
    /// What preparing wrote last.
    pub prepared: Filled<Option<Prepared>, Prepared>,
    /// The part in bodies, as it was cut last.
    pub bodies: Filled<Option<Arc<Cut>>, Arc<Cut>>,
    /// The folder that they were written into.
    pub bodies_written: Filled<Option<PathBuf>, PathBuf>,
    /// The person's toolpath.
    pub toolpath: Toolpath,
    /// The steps of the job beside colouring.
    pub errands: Errands,
    /// The photograph of a test print, and what was read of it.
    pub photographs: Photographs,
    /// Photographs of the finished part, and what was read of them.
    pub finished: Finished,
    /// A fit to a test print that waits to be used.
    pub fitted: Filled<Option<Fitted>, Found>,
    /// The regions that were made of the model's own colours.
    pub own_colours: Filled<Option<OwnColours>, OwnColours>,
    /// Regions of a picture's colours that are being made.
    flat_colours: Filled<(), FlatColours>,
    /// A picture that is being read, and where on the stage it was dropped.
    picture: Filled<(), PictureRead>,
    picture_at: Option<emath::Pos2>,
    /// A file to take spools from once a part is open.
    pub spools_wanted: Option<PathBuf>,
    dialog: Option<Dialog>,
    copying: ViewCopying,
    home: Option<Home>,
    autosave: Autosave,
    skin_updates: VecDeque<SkinUpdate>,
    strand_updates: VecDeque<StrandUpdate>,
    waker: Waker,
    quits: bool,
}

impl Session {
    /// A session that keeps its files in a folder, or keeps none.
    pub fn new(home: Option<Home>) -> Self {
        let settings = home.as_ref().map(|h| Settings::read(&h.settings_file()));
        let recent = home.as_ref().map(|h| Recent::read(&h.recent_file()));
        let mut session = Self {
            doc: None,
            on_disk: OnDisk::default(),
            elsewhere: Elsewhere::default(),
            size_is_odd: false,
            view: View::default(),
            tools: Tools::default(),
            chosen: Chosen::default(),
            wanted: Wanted::default(),
            free_shares: false,
            settings: settings.unwrap_or_default(),
            recent: recent.unwrap_or_default(),
            left: Vec::new(),
            notices: Notices::default(),
            drawer: Drawer::default(),
            page: None,
            cards: Filled::default(),
            cards_begun: false,
            loading: None,
            painted: None,
            colouring: Colouring::default(),
            preview: Preview::default(),
            summary: Filled::default(),
            groundwork: None,
            printed: Filled::default(),
            review: Filled::default(),
            section: Filled::default(),
            face_is_drawn: false,
            prepared: Filled::default(),
            bodies: Filled::default(),
            bodies_written: Filled::default(),
            toolpath: Toolpath::default(),
            errands: Errands::default(),
            photographs: Photographs::default(),
            finished: Finished::default(),
            fitted: Filled::default(),
            own_colours: Filled::default(),
            flat_colours: Filled::default(),
            picture: Filled::default(),
            picture_at: None,
            spools_wanted: None,
            dialog: None,
            copying: ViewCopying::default(),
            autosave: Autosave::new(home.as_ref()),
            home,
            skin_updates: VecDeque::new(),
            strand_updates: VecDeque::new(),
            waker: Waker::default(),
            quits: false,
        };
        session.tools.set_brush_mm(session.settings.brush_mm);
        session.view.camera.lens = session.settings.lens;
        session.left = session.autosave.find_left();
        session
    }

    /// Tells background work how to wake the window.
    pub fn set_waker(&mut self, waker: Waker) {
        self.waker = waker;
    }

    /// The window's title.
    pub fn title(&self) -> String {
        match &self.doc {
            Some(doc) if doc.is_unsaved() => format!("{} (not saved) – Tintfall", doc.title()),
            Some(doc) => format!("{} – Tintfall", doc.title()),
            None => "Tintfall".to_owned(),
        }
    }

    /// Whether the program is to end.
    pub fn quits(&self) -> bool {
        self.quits
    }

    /// The next change for the scene.
    pub fn next_skin_update(&mut self) -> Option<SkinUpdate> {
        self.skin_updates.pop_front()
    }

    /// Whether changes wait for the scene.
    pub fn has_skin_updates(&self) -> bool {
        !self.skin_updates.is_empty() || !self.strand_updates.is_empty()
    }

    /// Whether the part is drawn as the plan is.
    pub fn is_drawn(&self) -> bool {
        let revision = self.doc.as_ref().map(Document::revision);
        self.colouring.drawn == revision && !self.has_skin_updates()
    }

    /// Writes the settings down.
    pub fn keep_settings(&mut self) {
        self.settings.brush_mm = self.tools.brush_mm;
        self.settings.lens = self.view.camera.lens;
        if let Some(home) = &self.home
            && let Err(why) = self.settings.write(&home.settings_file())
        {
            self.notices.warning(why);
        }
    }
}
