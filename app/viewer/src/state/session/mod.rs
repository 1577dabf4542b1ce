//! All that the window knows. Panels read it and call its methods; the scene draws from it.

mod acting;
mod autosave;
mod changing;
mod opening;
mod painting;
mod saving;
mod spools;
mod toolpath;
mod working;

use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::Arc;

use blend::{Shares, Srgb};
use egui::Color32;
use geometry::DVec3;
use plan::Painted;

use super::document::Document;
use super::hand::Hand;
use super::notices::Notices;
use super::profile::Profile;
use super::skin::SkinUpdate;
use super::strands::StrandUpdate;
use super::toolpath::Toolpath;
use super::view::View;
use crate::files::{Home, Left, Recent, Settings};
use crate::jobs::Waker;
use crate::jobs::prepare::Prepared;
use crate::jobs::printed::Printed;
use crate::jobs::spool_file::Fitted;
use crate::jobs::standing::Review;
use crate::jobs::summary::Summary;
use crate::jobs::thumbnails::Card;
use crate::panels::widgets::colour32;

pub use autosave::Autosave;
pub use painting::Preview;
pub use saving::plan_stem;
pub use toolpath::FollowView;
pub use working::Work;

/// What the drawer at the right shows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Drawer {
    /// Regions and their blends.
    #[default]
    Colour,
    /// The spools.
    Spools,
    /// The part and how it is printed.
    Part,
    /// What is wrong or worth knowing.
    Checks,
    /// The person's own toolpath.
    Weave,
}

impl Drawer {
    /// All of them, in order.
    pub const ALL: [Self; 5] = [
        Self::Colour,
        Self::Spools,
        Self::Part,
        Self::Checks,
        Self::Weave,
    ];
}

/// A page over the window.
#[derive(Clone, Debug, PartialEq)]
pub enum Page {
    /// Help and cautions.
    Help,
    /// All keys.
    Keys,
    /// Find an action by name.
    Find {
        /// What was typed.
        text: String,
    },
    /// The steps of a test print, predicted and measured.
    Steps,
    /// Which file to take spools from.
    SpoolFile {
        /// The path in the field.
        path: String,
    },
    /// Which file to open.
    OpenFile {
        /// The path in the field.
        path: String,
    },
    /// Where to save.
    SaveAs {
        /// The path in the field.
        path: String,
        /// What to do once it is saved.
        then: Option<After>,
    },
    /// Where to write what the printer needs.
    Prepare {
        /// The folder in the field.
        folder: String,
    },
    /// Unsaved work is about to be lost.
    Unsaved {
        /// What to do once that is settled.
        then: After,
    },
}

/// What waits for unsaved work to be settled.
#[derive(Clone, Debug, PartialEq)]
pub enum After {
    /// Leave the program.
    Quit,
    /// Go to the start page.
    Close,
    /// Open a file.
    Open(PathBuf),
    /// Open a demonstration.
    Demo(String),
}

/// What is chosen.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Chosen {
    /// A region.
    pub region: Option<usize>,
    /// A stop of its fade.
    pub stop: Option<usize>,
    /// Components whose share is held while others are set.
    pub held: Vec<bool>,
    /// The region whose name is being typed, and the text.
    pub naming: Option<(usize, String)>,
}

/// All that the window knows.
pub struct Session {
    /// The open part.
    pub doc: Option<Document>,
    /// How it is shown.
    pub view: View,
    /// What the pointer does.
    pub hand: Hand,
    /// What is chosen.
    pub chosen: Chosen,
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
    pub cards: Vec<Card>,
    /// What is at each height, and the totals.
    pub summary: Summary,
    /// How the plan stands with its reviewers.
    pub review: Review,
    /// How the part will come out, when someone asked.
    pub printed: Printed,
    /// The plan laid on the shape, as far as it is worked out.
    pub painted: Option<Arc<Painted>>,
    /// What preparing wrote last.
    pub prepared: Option<Prepared>,
    /// The person's toolpath.
    pub toolpath: Toolpath,
    /// Jobs.
    pub work: Work,
    /// What would be painted.
    pub preview: Preview,
    /// A file to take spools from once a part is open.
    pub spools_wanted: Option<PathBuf>,
    /// A fit to a test print that waits to be used.
    pub fitted: Option<Fitted>,
    /// Whether shares may be set finer than the machine does.
    pub free_shares: bool,
    /// The colour whose closest blend is looked for, and the text of its field.
    pub wanted: Srgb,
    /// See `wanted`.
    pub wanted_text: String,
    mixing: Option<working::Mixing>,
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
        let read = |read: fn(&Home) -> Settings| home.as_ref().map(read).unwrap_or_default();
        let settings = read(|h| Settings::read(&h.settings_file()));
        let recent = home.as_ref().map(|h| Recent::read(&h.recent_file()));
        let mut session = Self {
            doc: None,
            view: View::default(),
            hand: Hand::default(),
            chosen: Chosen::default(),
            recent: recent.unwrap_or_default(),
            left: Vec::new(),
            notices: Notices::default(),
            drawer: Drawer::default(),
            page: None,
            cards: Vec::new(),
            summary: Summary::default(),
            review: Review::default(),
            printed: Printed::default(),
            painted: None,
            prepared: None,
            toolpath: Toolpath::default(),
            work: Work::default(),
            preview: Preview::default(),
            spools_wanted: None,
            fitted: None,
            free_shares: false,
            wanted: Srgb([0x7f, 0x7f, 0x7f]),
            wanted_text: "#7f7f7f".to_owned(),
            mixing: None,
            autosave: Autosave::new(home.as_ref()),
            home,
            settings,
            skin_updates: VecDeque::new(),
            strand_updates: VecDeque::new(),
            waker: Waker::default(),
            quits: false,
        };
        session.hand.set_brush_mm(session.settings.brush_mm);
        session.view.camera.lens = session.settings.lens;
        session.left = session.autosave.find_left();
        session
    }

    /// Tells background work how to wake the window.
    pub fn set_waker(&mut self, waker: Waker) {
        self.waker = waker;
    }

    /// How far behind and before the target there may be something to see, mm.
    pub fn reach_mm(&self) -> f64 {
        let Some(doc) = &self.doc else { return 500.0 };
        let (lo, hi) = doc.bounds_mm;
        let plate = self.plate_half_mm();
        let far = DVec3::new(plate.0, plate.1, 0.0).length() + (hi - lo).length();
        far + self.view.camera.target_mm.distance(doc.middle_mm()) + 10.0
    }

    /// Half the plate's size across x and y, mm; zero without a part. The plate reaches past
    /// the part by a margin and ends on a line of its grid.
    pub fn plate_half_mm(&self) -> (f64, f64) {
        let Some(doc) = &self.doc else {
            return (0.0, 0.0);
        };
        let (lo, hi) = doc.bounds_mm;
        let half = |lo: f64, hi: f64| (lo.abs().max(hi.abs()) * 1.25 / 50.0).ceil().max(2.0) * 50.0;
        (half(lo.x, hi.x), half(lo.y, hi.y))
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

    /// What is at each height.
    pub fn profile(&self) -> &Profile {
        &self.summary.profile
    }

    /// The height that is marked on the part, mm: the one under the pointer.
    pub fn marked_height_mm(&self) -> Option<f64> {
        self.view.hover_mm.filter(|_| self.doc.is_some())
    }

    /// The heights of a band of which one edge is set and the other is under the pointer, mm.
    pub fn band_in_the_making(&self) -> Option<(f64, f64)> {
        let from = self.hand.band_from_mm?;
        let to = self.view.hover_mm?;
        Some((from.min(to), from.max(to)))
    }

    /// The colour of a blend of the open plan's spools.
    pub fn colour_of(&self, shares: &Shares) -> Color32 {
        match self.model() {
            Some(model) => colour32(model.mix(shares).to_srgb()),
            None => Color32::GRAY,
        }
    }
}
