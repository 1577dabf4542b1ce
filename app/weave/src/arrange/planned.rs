//! What is wanted of a new order, what is known of each section, and what is to be done with it.

use plan::schedule::Asked;
use toolpath::Settings;

use super::block::{Block, Level};
use super::habits::Habits;
use super::order::Wants;
use crate::overrides::Overrides;
use crate::register::Placement;

/// Where plastic may go that has to pass between two blends.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Purge {
    /// Nothing is moved: each blend is fed as near to its place as the file's order lets it.
    Stay,
    /// Into what nobody sees of the part.
    Inside,
    /// There, and what it can't take into a block beside the part.
    #[default]
    Block,
}

/// How a toolpath is to be laid anew.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Arrange {
    /// Where purged plastic goes.
    pub purge: Purge,
    /// How far a blend may be off when its region begins, ΔE00; the machine's own allowance
    /// if none is given.
    pub allow_de00: Option<f64>,
    /// The block's low corner on the plate, mm; a free place is looked for otherwise.
    pub block_at_mm: Option<[f64; 2]>,
    /// The bed's size, mm, from the plate's origin.
    pub bed_mm: Option<[f64; 2]>,
}

/// What was done.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Arranged {
    /// Sections that are laid in another order than the file's.
    pub reordered: u64,
    /// Sections of several blends that had to stay in order.
    pub in_order: u64,
    /// Moves cut where regions end.
    pub cuts: u64,
    /// Plastic that changes of blend need in all, mm³,
    pub needed_mm3: f64,
    /// and how much of it nobody sees within the part.
    pub hidden_mm3: f64,
    /// The block, if there is one.
    pub block: Option<Block>,
    /// Its plastic, mm³,
    pub block_mm3: f64,
    /// and its mass by the first spool's density, g.
    pub block_g: f64,
    /// What a person should know.
    pub cautions: Vec<String>,
}

/// What is to be laid anew, and by what.
pub(crate) struct Job<'a> {
    pub how: &'a Arrange,
    pub asked: &'a Asked<'a>,
    pub overrides: Option<&'a Overrides>,
    pub stands: &'a [Placement],
    pub settings: Settings,
}

/// What is known of a section after the first reading.
#[derive(Clone, Debug, Default)]
pub(super) struct Facts {
    pub(super) top_mm: f64,
    pub(super) wants: Wants,
    /// Volume of each group, mm³.
    pub(super) volumes: Vec<f64>,
    /// For each blend of the section the group that it is in.
    pub(super) group_of: Vec<(u32, u32)>,
    pub(super) feed_mm_min: f64,
    pub(super) keeps: Keeps,
}

/// What of a section must stay.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Keeps {
    /// It may be laid in any order.
    #[default]
    Nothing,
    /// The file's order: something in it lies over a gap. A purge may come between.
    Order,
    /// All of it, line for line.
    All,
}

/// One change of blend within a section or before it.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Change {
    /// Laid before this group of the order.
    pub(super) before: usize,
    pub(super) from: u32,
    pub(super) to: u32,
    pub(super) free_mm3: f64,
    pub(super) purge_mm3: f64,
    /// Plastic of the new blend in the section, mm³.
    pub(super) seen_mm3: f64,
}

/// What is to be done with a section.
#[derive(Clone, Debug, Default)]
pub(super) struct Doing {
    pub(super) order: Vec<u32>,
    pub(super) changes: Vec<Change>,
    /// The block's layer that is laid with this section, and how thick it is.
    pub(super) level: Option<(usize, f64)>,
    /// The section lays what the block's layer still lacks.
    pub(super) closes: bool,
}

/// Everything that the second reading needs.
pub(super) struct Planned {
    pub(super) facts: Vec<Facts>,
    pub(super) doing: Vec<Doing>,
    pub(super) habits: Habits,
    pub(super) block: Option<Block>,
    pub(super) levels: Vec<Level>,
    pub(super) arranged: Arranged,
}
