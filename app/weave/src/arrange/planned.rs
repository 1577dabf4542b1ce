//! What is wanted of a new order, what is known of each section, and what is to be done with it.

use blend::Shares;
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

/// How far a blend may be off where its region begins in a layer, ΔE00: 95 % of the skin then
/// comes out within 3 (our rule, no source).
pub const ALLOW_DE00: f64 = 2.7;

/// How a toolpath is to be laid anew.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Arrange {
    /// Where purged plastic goes.
    pub purge: Purge,
    /// How far a blend may be off where its region begins in a layer, ΔE00:
    /// [`ALLOW_DE00`] if none is given. 95 % of the skin is kept within it.
    pub allow_de00: Option<f64>,
    /// The block's low corner on the plate, mm; a free place is looked for otherwise.
    pub block_at_mm: Option<[f64; 2]>,
    /// The bed's size, mm, from the plate's origin.
    pub bed_mm: Option<[f64; 2]>,
}

/// A block where it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct PlacedBlock {
    /// Its place and size.
    pub block: Block,
    /// Its layers, from the plate up.
    pub levels: Vec<BlockLevel>,
}

/// A layer of a block.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BlockLevel {
    /// Height of its top, mm.
    pub top_mm: f64,
    /// Its side, mm.
    pub side_mm: f64,
    /// Its plastic, mm³, with that of the brim.
    pub volume_mm3: f64,
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
    /// Runs over a region's edge that could not be cut.
    pub uncut: u64,
    /// Plastic that changes of blend need in all, mm³,
    pub needed_mm3: f64,
    /// and how much of it nobody sees within the part.
    pub hidden_mm3: f64,
    /// The changes by direction, the one that takes most first.
    pub purges: Vec<Purged>,
    /// What of the block no change asks for: it stands, and carries what does, mm³.
    pub standing_mm3: f64,
    /// No order purges less, for as much to be seen, mm³.
    pub least_mm3: f64,
    /// Changes if each layer of several blends went through all of them in the same turn.
    pub in_turn: u64,
    /// The block, if there is one; where copies are printed one after another, one for each.
    pub blocks: Vec<PlacedBlock>,
    /// All plastic of them, mm³,
    pub block_mm3: f64,
    /// and its mass by the first spool's density, g.
    pub block_g: f64,
    /// What a person should know.
    pub cautions: Vec<String>,
}

/// Changes from one blend to another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Purged {
    /// The blend before,
    pub from: Shares,
    /// and after.
    pub to: Shares,
    /// How often.
    pub count: u64,
    /// What of it nobody sees within the part, mm³,
    pub hidden_mm3: f64,
    /// and what goes into the block, mm³.
    pub block_mm3: f64,
    /// How far off the new blend is where its skin begins, ΔE00: the mean over the changes.
    pub off_de00: f64,
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
    /// Skin of each group, mm³.
    pub(super) volumes: Vec<f64>,
    /// Plastic of each group that lies behind its skin and is laid before it in the file, mm³.
    pub(super) behind: Vec<f64>,
    /// For each blend of the section the group that it is in.
    pub(super) group_of: Vec<(u32, u32)>,
    pub(super) feed_mm_min: f64,
    pub(super) keeps: Keeps,
    /// Copies printed one after another are a round each.
    pub(super) round: usize,
}

impl Facts {
    /// What a list by group has for one of the section's groups.
    pub(super) fn of(&self, volumes: &[f64], group: u32) -> f64 {
        let pairs = self.wants.groups.iter().zip(volumes);
        pairs.filter(|(g, _)| **g == group).map(|(_, v)| *v).sum()
    }
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
    /// What nobody sees before it, mm³.
    pub(super) free_mm3: f64,
    /// Plastic of the new blend behind its own skin that is laid first, mm³.
    pub(super) behind_mm3: f64,
    pub(super) purge_mm3: f64,
    /// Skin of the new blend, mm³, as much of it as clears the chamber,
    pub(super) seen_mm3: f64,
    /// up to the next change,
    pub(super) skin_mm3: f64,
    /// and all plastic up to there.
    pub(super) lasts_mm3: f64,
    /// The plan lets it be smeared over the layers above.
    pub(super) smears: bool,
    /// How far off the new blend is where its skin begins, ΔE00,
    pub(super) off_de00: f64,
    /// and what that saves beside what is allowed, mm³.
    pub(super) saves_mm3: f64,
}

/// A layer of a block.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct OfLevel {
    /// Which block,
    pub(super) block: usize,
    /// and which of its layers.
    pub(super) number: usize,
    /// How thick it is, mm.
    pub(super) height_mm: f64,
}

/// What is to be done with a section.
#[derive(Clone, Debug, Default)]
pub(super) struct Doing {
    pub(super) order: Vec<u32>,
    pub(super) changes: Vec<Change>,
    /// The layer of a block that is laid with this section.
    pub(super) level: Option<OfLevel>,
    /// The section lays what the block's layer still lacks.
    pub(super) closes: bool,
    /// What of the block's layer no change asks for is laid first, mm³.
    pub(super) opens_mm3: f64,
}

/// A block that is laid with the sections of one round.
#[derive(Debug)]
pub(super) struct Stands {
    pub(super) block: Block,
    pub(super) levels: Vec<Level>,
}

/// Everything that the second reading needs.
pub(super) struct Planned {
    pub(super) facts: Vec<Facts>,
    pub(super) doing: Vec<Doing>,
    pub(super) habits: Habits,
    pub(super) standing: Vec<Stands>,
    pub(super) arranged: Arranged,
}

impl Planned {
    /// The path of a layer of a block, with the brim below.
    pub(super) fn path(&self, of: OfLevel) -> Vec<Vec<[f64; 2]>> {
        let Some(Stands { block, levels }) = self.standing.get(of.block) else {
            return Vec::new();
        };
        let level = levels.get(of.number).copied().unwrap_or_default();
        let mut path = block.path(&level, of.height_mm, of.number);
        if of.number == 0 {
            path.splice(0..0, block.brim(level.side_mm));
        }
        path
    }
}
