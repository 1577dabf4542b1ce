//! Undo and redo.

use std::collections::VecDeque;

use super::{Edit, EditError};
use crate::Plan;

/// One pull of the mouse, so to say: edits of the same drag are taken back together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Drag(u64);

/// What was done to a plan, and what was taken back.
///
/// It belongs to one plan, which must be changed through it alone.
#[derive(Clone, Debug, Default)]
pub struct History {
    /// Inverses of what was done, the latest last.
    done: VecDeque<Entry>,
    /// Inverses of what was taken back, the latest last.
    undone: Vec<Entry>,
    /// The drag that the latest entry belongs to.
    open: Option<Drag>,
    next_drag: u64,
    next_state: u64,
    /// Names the plan's present state: two equal numbers are the same state.
    state: u64,
    saved: Option<u64>,
}

#[derive(Clone, Debug)]
struct Entry {
    label: &'static str,
    inverse: Edit,
    /// The state that the inverse leads to.
    leads_to: u64,
}

impl History {
    /// How many steps can be taken back at least before the oldest is forgotten.
    pub const STEPS: usize = 2000;

    /// Nothing done yet, and the plan as saved.
    pub fn new() -> Self {
        Self {
            saved: Some(0),
            ..Self::default()
        }
    }

    /// Begins a drag.
    pub fn begin_drag(&mut self) -> Drag {
        self.next_drag += 1;
        Drag(self.next_drag)
    }

    /// Applies an edit. What had been taken back is then gone for good.
    ///
    /// # Errors
    /// [`EditError`] says why not; plan and history are then as they were.
    pub fn apply(&mut self, plan: &mut Plan, edit: Edit) -> Result<(), EditError> {
        self.apply_in(plan, edit, None)
    }

    /// Applies an edit of a drag: all edits of one drag are a single step to undo.
    ///
    /// # Errors
    /// [`EditError`] says why not; plan and history are then as they were.
    pub fn apply_drag(&mut self, plan: &mut Plan, edit: Edit, drag: Drag) -> Result<(), EditError> {
        self.apply_in(plan, edit, Some(drag))
    }

    fn apply_in(
        &mut self,
        plan: &mut Plan,
        edit: Edit,
        drag: Option<Drag>,
    ) -> Result<(), EditError> {
        let label = edit.label();
        let inverse = edit.apply(plan)?;
        self.undone.clear();
        let goes_on = drag.is_some() && self.open == drag;
        self.open = drag;
        let leads_to = self.state;
        self.next_state += 1;
        self.state = self.next_state;
        if let Some(last) = self.done.back_mut().filter(|_| goes_on) {
            join(&mut last.inverse, inverse);
            return Ok(());
        }
        self.done.push_back(Entry {
            label,
            inverse,
            leads_to,
        });
        if self.done.len() > Self::STEPS {
            self.done.pop_front();
        }
        Ok(())
    }

    /// Takes back the latest step; false when there is none.
    pub fn undo(&mut self, plan: &mut Plan) -> bool {
        let Some(entry) = self.done.pop_back() else {
            return false;
        };
        match self.reverse(plan, entry) {
            Some(redo) => {
                self.undone.push(redo);
                true
            }
            None => false,
        }
    }

    /// Does again what was taken back last; false when there is nothing.
    pub fn redo(&mut self, plan: &mut Plan) -> bool {
        let Some(entry) = self.undone.pop() else {
            return false;
        };
        match self.reverse(plan, entry) {
            Some(undo) => {
                self.done.push_back(undo);
                true
            }
            None => false,
        }
    }

    /// Applies an inverse and returns the entry that reverses it in turn.
    fn reverse(&mut self, plan: &mut Plan, entry: Entry) -> Option<Entry> {
        self.open = None;
        // Refused only if the plan was changed behind the history's back.
        let inverse = entry.inverse.apply(plan).ok()?;
        let leads_to = std::mem::replace(&mut self.state, entry.leads_to);
        Some(Entry {
            label: entry.label,
            inverse,
            leads_to,
        })
    }

    /// What undo would take back, in words.
    pub fn undo_label(&self) -> Option<&'static str> {
        self.done.back().map(|entry| entry.label)
    }

    /// What redo would do again, in words.
    pub fn redo_label(&self) -> Option<&'static str> {
        self.undone.last().map(|entry| entry.label)
    }

    /// How many steps can be taken back.
    pub fn undo_count(&self) -> usize {
        self.done.len()
    }

    /// Notes that the plan was saved as it is now.
    pub fn mark_saved(&mut self) {
        self.saved = Some(self.state);
        self.open = None;
    }

    /// Notes that nothing saved is like the plan, as after a recovery.
    pub fn mark_unsaved(&mut self) {
        self.saved = None;
    }

    /// Whether the plan differs from what was saved.
    pub fn is_unsaved(&self) -> bool {
        self.saved != Some(self.state)
    }

    /// A number that changes with every change of the plan, for caches.
    pub fn state(&self) -> u64 {
        self.state
    }
}

/// Adds the inverse of a later edit of the same drag.
fn join(earlier: &mut Edit, later: Edit) {
    if absorbs(earlier, &later) {
        absorb(earlier, later);
        return;
    }
    match earlier {
        Edit::Together(list) => list.insert(0, later),
        _ => {
            let first = std::mem::replace(earlier, Edit::Together(Vec::new()));
            *earlier = Edit::Together(vec![later, first]);
        }
    }
}

/// Whether the earlier inverse can take in the later one, so that a long drag stays one
/// small edit.
fn absorbs(earlier: &Edit, later: &Edit) -> bool {
    match (earlier, later) {
        // A stroke that is going to be removed need not be shortened first.
        (
            Edit::ShortenTouch { region, touch, .. } | Edit::RemoveTouch { region, touch },
            Edit::ShortenTouch {
                region: r,
                touch: t,
                ..
            },
        ) => (region, touch) == (r, t),
        (Edit::Together(a), Edit::Together(b)) => {
            a.len() == b.len() && removals_descend(a) && a.iter().zip(b).all(|(a, b)| absorbs(a, b))
        }
        _ => sets_the_same(earlier, later),
    }
}

fn absorb(earlier: &mut Edit, later: Edit) {
    match (earlier, later) {
        (Edit::ShortenTouch { by, .. }, Edit::ShortenTouch { by: more, .. }) => *by += more,
        (Edit::Together(a), Edit::Together(b)) => {
            for (a, b) in a.iter_mut().zip(b) {
                absorb(a, b);
            }
        }
        _ => {}
    }
}

/// Whether each removal of a stroke leaves the places of those to come as they are.
fn removals_descend(edits: &[Edit]) -> bool {
    let mut next = usize::MAX;
    edits.iter().all(|edit| match edit {
        Edit::RemoveTouch { touch, .. } => {
            let descends = *touch < next;
            next = *touch;
            descends
        }
        Edit::Together(_) => false,
        _ => true,
    })
}

/// Whether applying `later` and then `earlier` is the same as applying `earlier` alone.
fn sets_the_same(earlier: &Edit, later: &Edit) -> bool {
    match (earlier, later) {
        (Edit::SetTitle(_), Edit::SetTitle(_))
        | (Edit::SetMesh(_), Edit::SetMesh(_))
        | (Edit::SetLayers(_), Edit::SetLayers(_))
        | (Edit::SetSkin(_), Edit::SetSkin(_))
        | (Edit::SetWall(_), Edit::SetWall(_))
        | (Edit::SetStep(_), Edit::SetStep(_))
        | (Edit::SetLaying(_), Edit::SetLaying(_))
        | (Edit::SetMachine(_), Edit::SetMachine(_))
        | (Edit::SetSpools { .. }, Edit::SetSpools { .. }) => true,
        (Edit::RenameRegion { region, .. }, Edit::RenameRegion { region: r, .. })
        | (Edit::SetMask { region, .. }, Edit::SetMask { region: r, .. })
        | (Edit::SetArea { region, .. }, Edit::SetArea { region: r, .. })
        | (Edit::SetPaint { region, .. }, Edit::SetPaint { region: r, .. })
        | (Edit::SetSpacing { region, .. }, Edit::SetSpacing { region: r, .. }) => region == r,
        (
            Edit::MoveStop { region, stop, .. },
            Edit::MoveStop {
                region: r, stop: s, ..
            },
        )
        | (
            Edit::SetStopShares { region, stop, .. },
            Edit::SetStopShares {
                region: r, stop: s, ..
            },
        ) => (region, stop) == (r, s),
        _ => false,
    }
}
