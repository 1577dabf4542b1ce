//! Why a mask cannot be used.

use glam::DVec3;

use crate::Cancelled;

/// Why a mask cannot be used. The words say what is wrong and what to do.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MaskError {
    /// Infinite, or not a number.
    #[error("{name} is not a finite number; give it a length or angle")]
    NotFinite {
        /// The field.
        name: &'static str,
    },
    /// A length that must be above zero is not.
    #[error("{name} is {value}; it must be greater than 0")]
    NotPositive {
        /// The field.
        name: &'static str,
        /// Its value.
        value: f64,
    },
    /// The lower end is not below the upper.
    #[error("{lower} is {from} and {upper} is {to}; {lower} must be the smaller of the two")]
    NotRising {
        /// The field that must be smaller.
        lower: &'static str,
        /// Its value.
        from: f64,
        /// The field that must be greater.
        upper: &'static str,
        /// Its value.
        to: f64,
    },
    /// A direction of no length.
    #[error("the direction {direction} has no length; for example, (0, 0, 1) points up")]
    NoDirection {
        /// As given.
        direction: DVec3,
    },
    /// A cylinder whose axis has no length.
    #[error("the cylinder's axis begins and ends at {at}; give it two different ends")]
    NoAxis {
        /// Both ends.
        at: DVec3,
    },
    /// A crease angle outside `0..=180`.
    #[error("angle_deg is {value}; it must be between 0 and 180")]
    Angle {
        /// As given.
        value: f64,
    },
    /// An outline with too few corners, or too many.
    #[error("the outline has {count} corners; it must have from 3 to {most}")]
    Corners {
        /// How many there are.
        count: usize,
        /// The most.
        most: usize,
    },
    /// An outline that goes round nothing.
    #[error("the corners of the outline lie on one line; give it corners that go round an area")]
    NoAreaWithin,
    /// A view that looks along what is to be up.
    #[error("up is {up}, along towards; give it another direction, such as (0, 0, 1) or (0, 1, 0)")]
    NoUp {
        /// As given.
        up: DVec3,
    },
    /// Connected pieces near no point.
    #[error("near_mm has no points; give it one in each piece that is to be covered")]
    NoPlaces,
    /// A stroke without dabs.
    #[error("the stroke has no dabs; give it at least one point, or remove it")]
    NoDabs,
    /// The mesh file has no object or group of this name.
    #[error("no object or group is named '{name}'; {known}")]
    NoSuchObject {
        /// As given.
        name: String,
        /// What there is, in words.
        known: String,
    },
    /// `All` or `Any` of nothing.
    #[error("{combination} holds no masks; put at least one in, or remove it")]
    NoParts {
        /// `All` or `Any`.
        combination: &'static str,
    },
    /// A mask within a mask is at fault.
    #[error("mask {number} in {combination}: {error}")]
    Within {
        /// `All`, `Any`, `Not`, `Connected` or `Smoothed`.
        combination: &'static str,
        /// Which one, counted from 1.
        number: usize,
        /// What is wrong with it.
        error: Box<MaskError>,
    },
    /// Distances along the skin about a stroke would take more memory than they may.
    #[error(
        "the skin around the stroke has too many thin facets to measure along it; make radius_mm \
         or reach_mm smaller, or mend the mesh"
    )]
    TooInvolved,
    /// A file without a name.
    #[error("a file has no name; write it in file or font, or leave font out")]
    NoFile,
    /// A hash that is none.
    #[error("sha256 is not a SHA-256 of 64 hexadecimal digits; copy it whole, or leave it out")]
    NoHash,
    /// A threshold that leaves nothing dark or nothing light.
    #[error("threshold is {value}; it must be between 0, black, and 1, white")]
    Threshold {
        /// As given.
        value: f64,
    },
    /// A text that is not a line.
    #[error("the text has {letters} characters; it must be one line of 1 to 200")]
    NoLine {
        /// How many there are.
        letters: usize,
    },
    /// Letters made bolder by more than there is room for.
    #[error("bolder_mm is {value}; for this height it must be from 0 to {most_mm:.2}")]
    Bolder {
        /// As given.
        value: f64,
        /// The most.
        most_mm: f64,
    },
    /// A wrapped picture whose middle has no side.
    #[error("at_mm, {at}, is on the axis; put it on the skin, where the middle is to fall")]
    OnTheAxis {
        /// As given.
        at: DVec3,
    },
    /// A wrapped picture that overlaps itself.
    #[error(
        "it is {wide_mm:.1} mm wide, and once round the axis is {most_mm:.1} mm; make it smaller"
    )]
    TooWide {
        /// Its width.
        wide_mm: f64,
        /// The way round.
        most_mm: f64,
    },
    /// A picture on the skin whose middle is not there.
    #[error(
        "at_mm, {at}, is {off_mm:.2} mm off the skin, and depth_mm is {most_mm}; put it on the skin"
    )]
    OffSkin {
        /// As given.
        at: DVec3,
        /// How far off.
        off_mm: f64,
        /// How far it may be: its depth.
        most_mm: f64,
    },
    /// A picture on the skin whose middle lies where no facet has an area.
    #[error("the skin at at_mm, {at}, has no area; move it a little, or mend the mesh")]
    NoAreaAt {
        /// As given.
        at: DVec3,
    },
    /// Ways along the skin to a picture's middle would take more memory than they may.
    #[error(
        "the skin under the picture has too many facets to lay it along it; make it smaller, or \
         mend the mesh"
    )]
    TooInvolvedToLay,
    /// Nobody has read the file of a picture or a font.
    #[error("{what} has not been read; open the plan from its file")]
    Unread {
        /// What.
        what: String,
    },
    /// A list of colours that is empty or too long.
    #[error("among has {count} colours; it must have from 1 to {most}")]
    Colours {
        /// How many there are.
        count: usize,
        /// The most.
        most: usize,
    },
    /// A colour's code that is none.
    #[error("'{code}' is no colour; write six hexadecimal digits after a #, such as #1f6f8b")]
    NoColour {
        /// As given.
        code: String,
    },
    /// A colour that is not in its list.
    #[error("the colour '{colour}' is not in among; write it as it stands there")]
    NotAmong {
        /// As given.
        colour: String,
    },
    /// The work was cancelled.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}
