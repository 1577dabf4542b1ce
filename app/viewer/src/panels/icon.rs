//! The window's signs: glyphs of a free icon font (Lucide, ISC licence), drawn as text, so that
//! they stay sharp at any scale. Names here say what a sign is for; the table says which it is.

use egui::{Align2, Color32, FontFamily, FontId, Painter, Rect};
use lucide_icons::Icon as Glyph;

use crate::theme::SIGNS;

/// A sign.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Icon {
    /// Open a file.
    Open,
    /// Save.
    Save,
    /// Take back.
    Undo,
    /// Make again.
    Redo,
    /// The tool that turns the part.
    Turn,
    /// The brush.
    Brush,
    /// The eraser.
    Erase,
    /// The tool that fills a face.
    Fill,
    /// The tool that covers what lies in a box.
    Box,
    /// The tool that covers what lies in a free outline.
    Lasso,
    /// The tool that makes a band.
    Band,
    /// Storing the blend of a place.
    Pick,
    /// Two points and what is between them.
    Measure,
    /// The tool that paints straight.
    Straight,
    /// The tool that places pictures.
    Place,
    /// The mirror.
    Mirror,
    /// A region that is printed.
    Shown,
    /// A region that is left out.
    Hidden,
    /// Guarded against changes.
    Locked,
    /// Not guarded.
    Unlocked,
    /// Up the list.
    Up,
    /// Down the list.
    Down,
    /// Make a copy.
    Copy,
    /// Delete.
    Delete,
    /// One more.
    Plus,
    /// Something to know or to beware of.
    Warning,
    /// Nothing is wrong.
    Sound,
    /// The part lines up with the ribbon.
    Level,
    /// Show all of the part.
    Fit,
    /// Parallel or perspective.
    Lens,
    /// Cut the part open.
    Cut,
    /// The other side.
    Flip,
    /// A picture of the view.
    Picture,
    /// The drawer, unfolded or not.
    Drawer,
    /// The ribbon, unfolded or not.
    Ribbon,
    /// Help.
    Question,
    /// The keys.
    Keys,
    /// Close.
    Close,
    /// Join two regions.
    Combine,
    /// Light.
    Sun,
    /// Dark.
    Moon,
    /// To the first move.
    Start,
    /// A move back.
    Back,
    /// A move on.
    On,
    /// To the last move.
    End,
}

impl Icon {
    fn glyph(self) -> Glyph {
        match self {
            Self::Open => Glyph::FolderOpen,
            Self::Save => Glyph::Download,
            Self::Undo => Glyph::Undo2,
            Self::Redo => Glyph::Redo2,
            Self::Turn => Glyph::Rotate3d,
            Self::Brush => Glyph::Brush,
            Self::Erase => Glyph::Eraser,
            Self::Fill => Glyph::PaintBucket,
            Self::Box => Glyph::SquareDashed,
            Self::Lasso => Glyph::Lasso,
            Self::Band => Glyph::BetweenHorizontalStart,
            Self::Pick => Glyph::Pipette,
            Self::Measure => Glyph::DraftingCompass,
            Self::Straight => Glyph::Slash,
            Self::Place => Glyph::Stamp,
            Self::Mirror => Glyph::FlipHorizontal2,
            Self::Shown => Glyph::Eye,
            Self::Hidden => Glyph::EyeOff,
            Self::Locked => Glyph::Lock,
            Self::Unlocked => Glyph::LockOpen,
            Self::Up => Glyph::ArrowUp,
            Self::Down => Glyph::ArrowDown,
            Self::Copy => Glyph::Copy,
            Self::Delete => Glyph::Trash2,
            Self::Plus => Glyph::Plus,
            Self::Warning => Glyph::TriangleAlert,
            Self::Sound => Glyph::Check,
            Self::Level => Glyph::Ruler,
            Self::Fit => Glyph::Maximize,
            Self::Lens => Glyph::Box,
            Self::Cut => Glyph::Slice,
            Self::Flip => Glyph::ArrowLeftRight,
            Self::Picture => Glyph::Camera,
            Self::Drawer => Glyph::PanelRight,
            Self::Ribbon => Glyph::RulerDimensionLine,
            Self::Question => Glyph::CircleQuestionMark,
            Self::Keys => Glyph::Keyboard,
            Self::Close => Glyph::X,
            Self::Combine => Glyph::SquaresUnite,
            Self::Sun => Glyph::Sun,
            Self::Moon => Glyph::Moon,
            Self::Start => Glyph::ChevronFirst,
            Self::Back => Glyph::ChevronLeft,
            Self::On => Glyph::ChevronRight,
            Self::End => Glyph::ChevronLast,
        }
    }
}

/// Draws a sign in the middle of a rectangle.
pub fn paint(painter: &Painter, rect: Rect, icon: Icon, colour: Color32) {
    let family = FontFamily::Name(SIGNS.into());
    let fonts =
        |f: &egui::epaint::text::FontsView<'_>| f.definitions().families.contains_key(&family);
    // The font comes with the window's second frame.
    if !painter.ctx().fonts(fonts) {
        return;
    }
    let side = rect.width().min(rect.height());
    let glyph = char::from(icon.glyph()).to_string();
    let font = FontId::new(side, family.clone());
    painter.text(rect.center(), Align2::CENTER_CENTER, glyph, font, colour);
}
