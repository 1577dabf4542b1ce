//! From a place up to, but not including, another: what bands and slabs have in common.

/// Nearer to the end of the part than this counts as at its end. A file's single-precision
/// coordinates are good to about this much, and no printer's layer is so thin.
const AT_THE_END_MM: f64 = 1e-4;

/// A half-open interval, laid on a part.
///
/// It holds `from` and not `to`, so stacked spans share no place and leave none out. If it
/// ends at the part's end it has that too, and a span that would begin there is empty:
/// otherwise the topmost face would belong to no band, or to one above the part.
#[derive(Clone, Copy, Debug)]
pub(super) struct Span {
    from: f64,
    to: f64,
}

impl Span {
    /// `part` is the least and the greatest place of the part.
    pub(super) fn new(from: f64, to: f64, part: (f64, f64)) -> Self {
        let (least, greatest) = part;
        let begins_at_end = from >= greatest - AT_THE_END_MM && from > least + AT_THE_END_MM;
        let to = if begins_at_end {
            from
        } else if to >= greatest - AT_THE_END_MM {
            f64::INFINITY
        } else {
            to
        };
        Self { from, to }
    }

    /// The same span, its ends drawn down by what rounding may do to places: a face that lies
    /// at an end is then in or out as one, as it would be without rounding.
    pub(super) fn drawn_down(self, rounding: f64) -> Self {
        Self {
            from: self.from - rounding,
            to: self.to - rounding,
        }
    }

    pub(super) fn contains(&self, place: f64) -> bool {
        self.from <= place && place < self.to
    }

    /// How far off the nearer of its ends is.
    pub(super) fn steady(&self, place: f64) -> f64 {
        (place - self.from).abs().min((place - self.to).abs())
    }
}
