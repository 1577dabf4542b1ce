//! In which order the blends of each section are laid.
//!
//! From one blend to another so much plastic must pass that nobody sees
//! ([`plan::economy::FlushTable`]). A section hides some of it; what it can't hide is purged.
//! The order with the least to be purged over all sections is found exactly: within a section
//! by dynamic programming over the sets of blends laid so far (M. Held, R. M. Karp, "A Dynamic
//! Programming Approach to Sequencing Problems", Journal of SIAM 10(1), 1962, from memory), and
//! from section to section over the blend that each ends with.

/// What a section lays.
#[derive(Clone, Debug, Default)]
pub(super) struct Wants {
    /// Its blends, as groups, in the file's order.
    pub groups: Vec<u32>,
    /// Plastic that nobody sees, mm³.
    pub free_mm3: f64,
    /// The file's order must stay: the first and the last group count.
    pub fixed: bool,
}

/// The most groups of one section that are tried in every order.
pub(super) const MOST_GROUPS: usize = 8;

/// Weight of plastic that can be hidden, beside plastic that is purged: the less there is to
/// take up, the less is seen of it.
const HIDDEN: f64 = 0.02;

/// One way to have come to the end of a section.
#[derive(Clone, Copy)]
struct End {
    group: u32,
    cost: f64,
    /// The end of the section before.
    from: usize,
}

/// The order of each section's groups.
pub(super) fn orders(wants: &[Wants], need: &mut dyn FnMut(u32, u32) -> f64) -> Vec<Vec<u32>> {
    let mut steps: Vec<Vec<End>> = Vec::with_capacity(wants.len());
    let start = [End {
        group: u32::MAX,
        cost: 0.0,
        from: 0,
    }];
    for section in wants {
        let before = steps.last().map_or(&start[..], Vec::as_slice);
        let next = match section.groups.is_empty() {
            true => passed(before),
            false => after(before, section, need),
        };
        steps.push(next);
    }
    // Back from the cheapest end.
    let last = steps.last().map_or(&[][..], Vec::as_slice);
    let mut at = last
        .iter()
        .enumerate()
        .min_by(|a, b| a.1.cost.total_cmp(&b.1.cost))
        .map_or(0, |(i, _)| i);
    let mut found = vec![Vec::new(); wants.len()];
    for (index, section) in wants.iter().enumerate().rev() {
        let Some(end) = steps.get(index).and_then(|s| s.get(at)).copied() else {
            break;
        };
        let before = match index.checked_sub(1) {
            Some(before) => steps.get(before).map_or(&start[..], Vec::as_slice),
            None => &start[..],
        };
        let entering = before.get(end.from).map_or(u32::MAX, |e| e.group);
        if let Some(slot) = found.get_mut(index) {
            *slot = match section.fixed || section.groups.len() < 2 {
                true => section.groups.clone(),
                false => Paths::new(entering, &section.groups, need).to(end.group),
            };
        }
        at = end.from;
    }
    found
}

/// A section without a blend leaves all as it was.
fn passed(before: &[End]) -> Vec<End> {
    let ends = before.iter().enumerate();
    ends.map(|(from, end)| End { from, ..*end }).collect()
}

fn after(before: &[End], section: &Wants, need: &mut dyn FnMut(u32, u32) -> f64) -> Vec<End> {
    let mut best: Vec<End> = Vec::new();
    let mut offer = |end: End| match best.iter_mut().find(|b| b.group == end.group) {
        Some(known) if known.cost <= end.cost => {}
        Some(known) => *known = end,
        None => best.push(end),
    };
    for (from, entered) in before.iter().enumerate() {
        let cost = |path: f64| {
            entered.cost + (path - section.free_mm3).max(0.0) + HIDDEN * path.min(section.free_mm3)
        };
        if section.fixed {
            let first = section.groups.first().copied().unwrap_or(entered.group);
            let last = section.groups.last().copied().unwrap_or(entered.group);
            offer(End {
                group: last,
                cost: cost(step(entered.group, first, need)),
                from,
            });
            continue;
        }
        let paths = Paths::new(entered.group, &section.groups, need);
        for (group, path) in paths.ends() {
            offer(End {
                group,
                cost: cost(path),
                from,
            });
        }
    }
    best
}

fn step(from: u32, to: u32, need: &mut dyn FnMut(u32, u32) -> f64) -> f64 {
    match from == u32::MAX || from == to {
        true => 0.0,
        false => need(from, to),
    }
}

/// The cheapest ways through a set of groups, by the group that they end with.
struct Paths {
    groups: Vec<u32>,
    /// For each set of groups and last group: the cost and the group before.
    table: Vec<(f64, usize)>,
}

impl Paths {
    fn new(entering: u32, groups: &[u32], need: &mut dyn FnMut(u32, u32) -> f64) -> Self {
        let groups: Vec<u32> = groups.iter().take(MOST_GROUPS).copied().collect();
        let n = groups.len();
        let mut between = vec![0.0; n * n];
        let mut table = vec![(f64::INFINITY, usize::MAX); (1 << n) * n.max(1)];
        for (i, from) in groups.iter().enumerate() {
            for (j, to) in groups.iter().enumerate() {
                if let Some(slot) = between.get_mut(i * n + j) {
                    *slot = step(*from, *to, need);
                }
            }
            if let Some(slot) = table.get_mut((1 << i) * n + i) {
                *slot = (step(entering, *from, need), usize::MAX);
            }
        }
        for set in 1..1_usize << n {
            for last in (0..n).filter(|last| set & (1 << last) != 0) {
                let here = table.get(set * n + last).map_or(f64::INFINITY, |e| e.0);
                if !here.is_finite() {
                    continue;
                }
                for next in (0..n).filter(|next| set & (1 << next) == 0) {
                    let cost = here + between.get(last * n + next).copied().unwrap_or(0.0);
                    if let Some(slot) = table.get_mut((set | 1 << next) * n + next)
                        && cost < slot.0
                    {
                        *slot = (cost, last);
                    }
                }
            }
        }
        Self { groups, table }
    }

    fn ends(&self) -> impl Iterator<Item = (u32, f64)> + '_ {
        let n = self.groups.len();
        let whole = (1_usize << n) - 1;
        self.groups
            .iter()
            .enumerate()
            .filter_map(move |(i, group)| {
                let (cost, _) = self.table.get(whole * n + i)?;
                Some((*group, *cost))
            })
    }

    /// The order that ends with a group.
    fn to(&self, group: u32) -> Vec<u32> {
        let n = self.groups.len();
        let mut set = (1_usize << n) - 1;
        let mut last = self.groups.iter().position(|g| *g == group).unwrap_or(0);
        let mut order = Vec::with_capacity(n);
        while let Some(group) = self.groups.get(last) {
            order.push(*group);
            let before = self.table.get(set * n + last).map_or(usize::MAX, |e| e.1);
            set &= !(1 << last);
            last = before;
        }
        order.reverse();
        order
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn wants(groups: &[u32], free_mm3: f64) -> Wants {
        Wants {
            groups: groups.to_vec(),
            free_mm3,
            fixed: false,
        }
    }

    #[test]
    fn each_layer_begins_as_the_last_one_ended() {
        let layers = vec![wants(&[0, 1], 0.0); 4];
        let found = orders(&layers, &mut |_, _| 50.0);
        for pair in found.windows(2) {
            assert_eq!(pair[0].last(), pair[1].first(), "{found:?}");
        }
    }

    #[test]
    fn the_dear_way_is_gone_less_often() {
        // To white costs five times as much as from it: of three layers it is gone to once.
        let mut need = |_: u32, to: u32| if to == 0 { 250.0 } else { 50.0 };
        let layers = vec![wants(&[1, 0], 0.0); 3];
        let found = orders(&layers, &mut need);
        assert_eq!(found, [vec![0, 1], vec![1, 0], vec![0, 1]]);
    }

    /// Every order of a few groups.
    fn all(groups: &[u32]) -> Vec<Vec<u32>> {
        match groups {
            [] => vec![Vec::new()],
            _ => groups
                .iter()
                .flat_map(|first| {
                    let rest: Vec<u32> = groups.iter().filter(|g| *g != first).copied().collect();
                    all(&rest).into_iter().map(|mut order| {
                        order.insert(0, *first);
                        order
                    })
                })
                .collect(),
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]

        /// Nothing purges less than what is found, of all orders of all sections.
        #[test]
        fn no_order_purges_less(
            needs in prop::collection::vec(1.0..250.0f64, 16),
            sets in prop::collection::vec((1_u32..15, 0.0..150.0f64), 1..4),
        ) {
            let mut need = |a: u32, b: u32| needs[(a * 4 + b) as usize];
            let sections: Vec<Wants> = sets.iter().map(|(set, free)| {
                let groups: Vec<u32> = (0..4).filter(|g| set & (1 << g) != 0).collect();
                wants(&groups, *free)
            }).collect();
            let mut cost = |orders: &[Vec<u32>]| {
                let (mut at, mut sum) = (u32::MAX, 0.0);
                for (order, section) in orders.iter().zip(&sections) {
                    let mut path = 0.0;
                    for group in order {
                        path += step(at, *group, &mut need);
                        at = *group;
                    }
                    sum += (path - section.free_mm3).max(0.0) + HIDDEN * path.min(section.free_mm3);
                }
                sum
            };
            let mut every: Vec<Vec<Vec<u32>>> = vec![Vec::new()];
            for section in &sections {
                let orders = all(&section.groups);
                every = every.into_iter().flat_map(|known| orders.iter().map(move |order| {
                    let mut next = known.clone();
                    next.push(order.clone());
                    next
                }).collect::<Vec<_>>()).collect();
            }
            let least = every.iter().map(|orders| cost(orders)).fold(f64::MAX, f64::min);
            let mut need = |a: u32, b: u32| needs[(a * 4 + b) as usize];
            let found = orders(&sections, &mut need);
            prop_assert!((cost(&found) - least).abs() < 1e-9, "{} {least}", cost(&found));
        }
    }
}
