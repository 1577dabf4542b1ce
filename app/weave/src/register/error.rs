//! Why the part was not found on the plate.

use geometry::Cancelled;
use toolpath::ReadError;

/// Root mean square distances beyond this are refused, mm: half a usual line's width.
pub const MOST_RESIDUAL_MM: f64 = 0.2;

/// Why no stand was found.
#[derive(Debug, thiserror::Error)]
pub enum RegisterError {
    /// The file can't be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// It was cancelled.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// The mesh has no contour to compare.
    #[error("the part has no outline to compare at any height; check the mesh")]
    NoContours,
    /// Nothing is printed.
    #[error("no move of the toolpath prints anything; is it a toolpath for a printer?")]
    NothingPrinted,
    /// Nothing is printed at the part's heights.
    #[error(
        "the toolpath prints nothing at {from_mm:.2} to {to_mm:.2} mm, where the part is; slice \
         the same part"
    )]
    OtherHeights {
        /// From this height.
        from_mm: f64,
        /// To this one.
        to_mm: f64,
    },
    /// The lines don't follow the contours.
    #[error(
        "this toolpath is not of this part: printed lines follow at best {:.0} % of its outline{}. \
         Slice the same mesh, or give its rotation and shift by hand",
        .followed * 100.0,
        .hint.as_deref().map(|h| format!("; {h}")).unwrap_or_default()
    )]
    OtherPart {
        /// Share of the contour followed at the best stand.
        followed: f64,
        /// What it may be.
        hint: Option<String>,
    },
    /// It follows, but not closely.
    #[error(
        "the toolpath follows the part only within {residual_mm:.2} mm (the limit is \
         {MOST_RESIDUAL_MM} mm); slice the same mesh, or give its rotation and shift by hand"
    )]
    TooFar {
        /// Root mean square distance, mm.
        residual_mm: f64,
    },
    /// Two turns fit.
    #[error(
        "the toolpath fits equally well when turned by {turn_deg:.0} degrees, and the part looks \
         different there; give its place with --stand"
    )]
    Unsure {
        /// From the turn that fits best to the other, degrees.
        turn_deg: f64,
    },
    /// It is of another size.
    #[error(
        "the toolpath is {:.2} times the part's size in x and {:.2} times in y; slice the part at \
         its own size, or scale the plan's mesh", .scale[0], .scale[1]
    )]
    OtherSize {
        /// Size of the toolpath by that of the mesh, along the part's x and y.
        scale: [f64; 2],
    },
}
