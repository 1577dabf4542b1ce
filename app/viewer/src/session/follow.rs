//! Stepping through a woven file: which layer, and up to which of its moves.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use crate::commands::Entering;
use crate::jobs::follow::{Layer, Opened};

/// Layers that are held beside the one in sight: so a step up or down shows at once.
const HELD: usize = 5;

/// A woven file that is being followed.
pub struct Follow {
    /// The file, with its layers known.
    pub opened: Arc<Opened>,
    /// The layer in sight, from the bed.
    pub layer: usize,
    /// The last move that is shown, counted in the layer.
    pub step: usize,
    /// The tilt of the view from before, to go back to, degrees.
    pub pitch_before_deg: Option<f64>,
    entering: Option<Entering>,
    held: BTreeMap<usize, Arc<Layer>>,
}

/// Where a step by moves leads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stepped {
    /// It stays within the layer.
    Within,
    /// To another layer.
    To(usize, Entering),
}

impl Follow {
    /// Begins at a layer, shown whole.
    pub fn new(opened: Arc<Opened>, layer: usize) -> Self {
        Self {
            opened,
            layer,
            step: 0,
            pitch_before_deg: None,
            entering: Some(Entering::Last),
            held: BTreeMap::new(),
        }
    }

    /// The file.
    pub fn file(&self) -> &Path {
        &self.opened.file
    }

    /// How many layers there are.
    pub fn layers(&self) -> usize {
        self.opened.index.layers.len()
    }

    /// The layer in sight, once it is read.
    pub fn now(&self) -> Option<&Arc<Layer>> {
        self.held.get(&self.layer)
    }

    /// The layer beneath it, if that is read.
    pub fn beneath(&self) -> Option<&Arc<Layer>> {
        self.held.get(&self.layer.checked_sub(1)?)
    }

    /// Goes to a layer.
    pub fn go_to(&mut self, layer: usize, entering: Entering) {
        if layer == self.layer && self.entering.is_none() {
            self.enter(entering);
            return;
        }
        self.layer = layer;
        self.entering = Some(entering);
        self.arrive();
    }

    fn enter(&mut self, entering: Entering) {
        let last = self
            .now()
            .map_or(0, |l| l.moves.moves.len().saturating_sub(1));
        self.step = match entering {
            Entering::First => 0,
            Entering::Last => last,
        };
    }

    /// Stands where it was to stand, once the layer is read.
    fn arrive(&mut self) {
        if self.now().is_some()
            && let Some(entering) = self.entering.take()
        {
            self.enter(entering);
        }
    }

    /// Takes a layer that was read; those far from the one in sight go.
    pub fn take(&mut self, layer: Layer) {
        self.held.insert(layer.index, Arc::new(layer));
        while self.held.len() > HELD {
            let far = |i: &usize| i.abs_diff(self.layer);
            let Some(farthest) = self.held.keys().copied().max_by_key(far) else {
                break;
            };
            self.held.remove(&farthest);
        }
        self.arrive();
    }

    /// The next layer to read: the one in sight first, then its neighbours.
    pub fn wanted(&self) -> Option<usize> {
        let near = [
            Some(self.layer),
            self.layer.checked_sub(1),
            self.layer.checked_add(1),
        ];
        near.into_iter()
            .flatten()
            .filter(|i| *i < self.layers())
            .find(|i| !self.held.contains_key(i))
    }

    /// Steps by moves. Past the ends of a layer the next one begins.
    pub fn step_by(&mut self, moves: i32) -> Stepped {
        let Some(count) = self.now().map(|l| l.moves.moves.len()) else {
            return Stepped::Within;
        };
        let to = self.step as i64 + i64::from(moves);
        let last = count as i64 - 1;
        if moves > 0 && self.step as i64 == last && self.layer + 1 < self.layers() {
            return Stepped::To(self.layer + 1, Entering::First);
        }
        if moves < 0
            && self.step == 0
            && let Some(below) = self.layer.checked_sub(1)
        {
            return Stepped::To(below, Entering::Last);
        }
        self.step = to.clamp(0, last.max(0)) as usize;
        Stepped::Within
    }

    /// Filament of the layer up to the last move shown, as a share of it all.
    pub fn share(&self) -> f64 {
        let Some(layer) = self.now() else { return 1.0 };
        let moves = &layer.moves.moves;
        let all = moves.last().map_or(0.0, |m| m.filament_mm);
        let here = moves.get(self.step).map_or(all, |m| m.filament_mm);
        if all > 0.0 { here / all } else { 1.0 }
    }

    /// Goes to the move at a share of the layer's filament.
    pub fn go_to_share(&mut self, share: f64) {
        if let Some(step) = self.move_at(share) {
            self.step = step;
        }
    }

    /// The move at a share of the layer's filament.
    pub fn move_at(&self, share: f64) -> Option<usize> {
        let moves = &self.now()?.moves.moves;
        let all = moves.last()?.filament_mm;
        let wanted = share.clamp(0.0, 1.0) * all;
        let at = moves.partition_point(|m| m.filament_mm < wanted);
        Some(at.min(moves.len() - 1))
    }
}
