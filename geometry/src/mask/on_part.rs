//! What strokes do to a part of a facet, told from the topmost down.

/// What strokes do to a part of a facet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OnPart {
    /// None has a point of it.
    Nothing,
    /// All over it one is on top, and whichever it is, it paints, or it erases.
    All,
    /// It is not known; there may be an edge in it.
    Some,
}

/// What is known of a part of a facet, going from the topmost stroke down.
#[derive(Default)]
pub(super) struct Told {
    /// Whether all strokes so far erase; none if there was none.
    erases: Option<bool>,
}

impl Told {
    /// Whether no stroke is near so far.
    pub(super) fn is_nothing(&self) -> bool {
        self.erases.is_none()
    }

    /// And there is one more, which covers all of the part or some of it. What is then known for
    /// good.
    pub(super) fn and(&mut self, erases: bool, all: bool) -> Option<OnPart> {
        if self.erases.is_some_and(|before| before != erases) {
            return Some(OnPart::Some);
        }
        self.erases = Some(erases);
        all.then_some(OnPart::All)
    }

    /// And there are no more.
    pub(super) fn in_the_end(&self) -> OnPart {
        match self.erases {
            None => OnPart::Nothing,
            Some(_) => OnPart::Some,
        }
    }
}
