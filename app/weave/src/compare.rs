//! Ways to weave a plan into a toolpath beside each other: what each costs, and what comes out.

use std::sync::Arc;

use blend::{Shares, ciede2000};
use geometry::Progress;
use plan::economy::FlushTable;
use plan::{PaintError, Painted, SharedLayers};
use serde::Serialize;

use crate::arrange::{ALLOW_DE00, Arrange, Arranged, Purge};
use crate::figures::{Figures, Lost};
use crate::standing_blocks::StandingBlocks;
use crate::{Source, Weave, WeaveError};

/// A way is recommended if its mean ΔE00 is no more than this,
const GOOD_MEAN_DE00: f64 = 0.8;

/// and 95 % of the skin within this (our rule, no source).
const GOOD_P95_DE00: f64 = 3.0;

/// Plastic that a fixed purge at each change takes for two blends in each layer, in parts of
/// the part's own (common practice, no source).
const CUSTOM: f64 = 2.0;

/// A blend near pure white that is worth proposing needs no more than this part of the purge.
const THIRD: f64 = 1.0 / 3.0;

/// One way to weave.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Way {
    /// What it is, in a few words.
    pub name: String,
    /// The options of `tintfall weave` for it, or what to change.
    pub how: String,
    /// Mean ΔE00 at the skin.
    pub mean_de00: f64,
    /// ΔE00 that 95 % of the skin stays within.
    pub p95_de00: f64,
    /// Plastic purged beside the part, g,
    pub purged_g: f64,
    /// and the minutes that it takes at the machine's usual flow.
    pub purged_minutes: f64,
    /// Regions that do not come out.
    pub lost: Vec<Lost>,
    /// It was not woven: its figures follow from another way's.
    pub estimated: bool,
    /// What `how` says, for programs that set it.
    #[serde(skip)]
    pub means: Means,
    /// The purge blocks as they would stand.
    #[serde(skip)]
    pub blocks: Option<Arc<StandingBlocks>>,
}

/// What a way of weaving takes.
#[derive(Clone, Debug, PartialEq)]
pub enum Means {
    /// These options.
    Options(Arrange),
    /// Layers of this height, mm, in the plan and in a toolpath that is sliced again.
    LayerMm(f64),
    /// One blend in each layer, in the plan.
    OneBlend,
}

/// Ways to weave, and what to hold them against.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Comparison {
    /// Version of this format.
    pub version: u32,
    /// The recommended way first, the others by what they purge.
    pub ways: Vec<Way>,
    /// What the changes need at least for the colours of order and block, g.
    pub least_g: f64,
    /// What the same volume at each change would purge, with each layer's blends in turn, g.
    pub fixed_g: f64,
    /// The part's own plastic, g.
    pub part_g: f64,
    /// Twice that: common practice for two blends in each layer, no source.
    pub custom_g: f64,
    /// What a person should know of order and block, such as why there is no block.
    pub cautions: Vec<String>,
    /// A blend that would need far less purge than one of the plan's.
    pub lighter: Option<Lighter>,
}

/// A blend near pure white that needs far less purge.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Lighter {
    /// The plan's blend.
    pub instead_of: Shares,
    /// The one that is proposed.
    pub shares: Shares,
    /// How far they are apart, ΔE00.
    pub de00: f64,
    /// What it would save, g: an estimate.
    pub saves_g: f64,
}

impl Comparison {
    /// Version of the format.
    pub const VERSION: u32 = 1;

    /// Weaves in each way and reads each back.
    ///
    /// # Errors
    /// [`WeaveError`] when the toolpath can't be woven or read.
    pub fn of(
        weave: &Weave<'_>,
        source: &Source<'_>,
        progress: &Progress,
    ) -> Result<Self, WeaveError> {
        let painted = weave.painted;
        let options = |purge: Purge, allow_de00: Option<f64>| Arrange {
            purge,
            allow_de00: allow_de00.or(weave.arrange.allow_de00),
            ..weave.arrange.clone()
        };
        let run = |arrange: &Arrange| figures(weave, painted, arrange.clone(), source, progress);
        let [with_block, stay, inside] =
            [Purge::Block, Purge::Stay, Purge::Inside].map(|purge| options(purge, None));
        let block = run(&with_block)?;
        let means = Means::Options;
        let mut ways = vec![
            way(
                "order and block",
                "--purge block",
                means(with_block),
                &block,
            ),
            way(
                "as sliced",
                "--purge stay",
                means(stay.clone()),
                &run(&stay)?,
            ),
            way(
                "order alone",
                "--purge inside",
                means(inside.clone()),
                &run(&inside)?,
            ),
        ];
        let mut arranged = Arranged::default();
        if let Some(found) = &block.woven.arranged {
            arranged = found.clone();
            let allow_de00 = 2.0 * weave.arrange.allow_de00.unwrap_or(ALLOW_DE00);
            let how = format!("--allow {allow_de00:.1}");
            let wide = options(Purge::Block, Some(allow_de00));
            let found = run(&wide)?;
            let name = "order and block, farther off";
            ways.push(way(name, &how, means(wide), &found));
            ways.extend(larger_layers(painted, &block));
            ways.extend(merged(weave, source, progress)?);
        }
        recommend(&mut ways);
        let plan = painted.plan();
        let grams = |mm3: f64| plan.spools.first().map_or(0.0, |spool| spool.mass_g(mm3));
        let part_g = grams(block.woven.volume_mm3 - block.purged_mm3);
        Ok(Self {
            version: Self::VERSION,
            ways,
            least_g: grams(arranged.least_mm3),
            fixed_g: grams(fixed_mm3(painted, &arranged)),
            part_g,
            custom_g: CUSTOM * part_g,
            cautions: block.woven.cautions,
            lighter: lighter(painted, &arranged),
        })
    }
}

fn figures(
    weave: &Weave<'_>,
    painted: &Painted,
    arrange: Arrange,
    source: &Source<'_>,
    progress: &Progress,
) -> Result<Figures, WeaveError> {
    let tried = Weave {
        painted,
        dialect: weave.dialect,
        settings: weave.settings,
        stands: weave.stands.clone(),
        arrange,
        review: weave.review.clone(),
    };
    Figures::of(&tried, weave.painted, source, progress)
}

fn way(name: &str, how: &str, means: Means, figures: &Figures) -> Way {
    let printed = &figures.verified.printed;
    Way {
        name: name.to_owned(),
        how: how.to_owned(),
        mean_de00: printed.mean_de00().unwrap_or(0.0),
        p95_de00: printed.within_de00(0.95),
        purged_g: figures.purged_g,
        purged_minutes: figures.purged_minutes,
        lost: figures.lost.clone(),
        estimated: false,
        means,
        blocks: figures.woven.standing_blocks(),
    }
}

/// Thicker layers have fewer changes, each with the same purge.
fn larger_layers(painted: &Painted, block: &Figures) -> Option<Way> {
    let plan = painted.plan();
    let (now_mm, most_mm) = (plan.layers.layer_mm, plan.machine.most_layer_mm);
    let part = now_mm / most_mm;
    (part < 0.95).then(|| Way {
        name: format!("layers of {most_mm} mm"),
        how: "slice again; an estimate".to_owned(),
        purged_g: part * block.purged_g,
        purged_minutes: part * block.purged_minutes,
        estimated: true,
        blocks: None,
        ..way("", "", Means::LayerMm(most_mm), block)
    })
}

/// One blend in each layer, judged by what the plan asked for.
fn merged(
    weave: &Weave<'_>,
    source: &Source<'_>,
    progress: &Progress,
) -> Result<Option<Way>, WeaveError> {
    let mut plan = weave.painted.plan().clone();
    plan.laying.shared_layers = SharedLayers::OneBlend;
    let model = plan.model();
    let painted = match weave.painted.revised(plan, model, progress) {
        Ok(painted) => painted,
        Err(PaintError::Cancelled(cancelled)) => return Err(cancelled.into()),
        // The regions are those of a plan that was laid on its part.
        Err(_) => return Ok(None),
    };
    let found = figures(weave, &painted, weave.arrange.clone(), source, progress)?;
    let how = "laying: shared_layers: OneBlend";
    Ok(Some(way("merged regions", how, Means::OneBlend, &found)))
}

/// Puts the recommended way first: of those with good colours the one that purges least, or the
/// one that comes nearest to the plan.
fn recommend(ways: &mut [Way]) {
    let good = |way: &Way| {
        way.mean_de00 <= GOOD_MEAN_DE00 && way.p95_de00 <= GOOD_P95_DE00 && way.lost.is_empty()
    };
    ways.sort_by(|a, b| a.purged_g.total_cmp(&b.purged_g));
    let measured = || ways.iter().enumerate().filter(|(_, way)| !way.estimated);
    let best = measured()
        .find(|(_, way)| good(way))
        .or_else(|| measured().min_by(|a, b| a.1.mean_de00.total_cmp(&b.1.mean_de00)));
    if let Some(at) = best.map(|(at, _)| at)
        && let Some(first) = ways.get_mut(..=at)
    {
        first.rotate_right(1);
    }
}

/// What a fixed purge takes: at each change as much as the change that needs most, sent at its
/// place, with the blends of each layer in the same turn.
fn fixed_mm3(painted: &Painted, arranged: &Arranged) -> f64 {
    let machine = &painted.plan().machine;
    let mut table = FlushTable::new(machine, painted.model(), false);
    let most_mm3 = arranged
        .purges
        .iter()
        .map(|purged| table.volume_mm3(&purged.from, &purged.to))
        .fold(0.0, f64::max);
    most_mm3 * arranged.in_turn as f64
}

/// A blend with some of the one before in it, in place of the blend that takes most of the
/// purge: the chamber is then clear of it sooner, since pure plastic is fed for a while.
fn lighter(painted: &Painted, arranged: &Arranged) -> Option<Lighter> {
    const FINEST: u32 = 60;
    let dearest = arranged.purges.first().filter(|p| p.block_mm3 > 0.0)?;
    let (from, to) = (dearest.from, dearest.to);
    let plan = painted.plan();
    let model = painted.model();
    let mut table = FlushTable::new(&plan.machine, model, plan.laying.lead);
    let now_mm3 = table.volume_mm3(&from, &to);
    let near = (1..=FINEST)
        .map(|i| to.toward(&from, 0.005 * f64::from(i)))
        .map(|near| plan.machine.fed(&near))
        .find(|near| table.volume_mm3(&from, near) <= THIRD * now_mm3)?;
    let to_white: f64 = arranged
        .purges
        .iter()
        .filter(|purged| purged.to == to)
        .map(|purged| purged.block_mm3)
        .sum();
    let saves_mm3 = to_white * (1.0 - THIRD);
    Some(Lighter {
        instead_of: to,
        shares: near,
        de00: ciede2000(model.mix(&near).to_lab(), model.mix(&to).to_lab()),
        saves_g: plan
            .spools
            .first()
            .map_or(0.0, |spool| spool.mass_g(saves_mm3)),
    })
}
