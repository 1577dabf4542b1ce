//! Sharpening where it helps, and nowhere else.

use std::ops::Range;

use blend::MixModel;

use super::grid::{self, Place};
use super::led::Led;
use super::{kernel, solve};
use crate::Machine;
use crate::delivery::{Cell, Command, Commands, cell_de00, of_cells};

/// A gain in the mean ΔE00 smaller than this part of it is not worth more commands.
const WORTH_MORE_COMMANDS: f64 = 0.02;
/// After so many mixed volumes a command no longer tells (e⁻⁴, two parts in a hundred).
const FORGOTTEN: f64 = 4.0;
/// How often stretches that turn out no better beside their neighbours are taken back.
const ROUNDS: usize = 4;

/// Commands with the changes sharpened that gain by it; none where none does.
pub(super) fn sharpened(
    cells: &[Cell],
    led: &Led,
    machine: &Machine,
    model: &dyn MixModel,
) -> Option<Commands> {
    let mut grid = grid::of(led, machine, model);
    let stretches = stretches(&grid, machine);
    if stretches.is_empty() || cells.is_empty() {
        return None;
    }
    let ahead = grid.clone();
    sharpen(&mut grid, cells, machine, model);
    let errors = |commands: &Commands| {
        let out = of_cells(cells, commands, &machine.chamber);
        cell_de00(cells, &out, model)
    };
    let nothing = vec![false; stretches.len()];
    let before = errors(&joined(&ahead, &grid, &stretches, &nothing, machine));
    let told: Vec<Range<usize>> = stretches
        .iter()
        .map(|stretch| told(stretch, &grid, cells, machine))
        .collect();
    let sum = |errors: &[f64], range: &Range<usize>| -> f64 {
        let pairs = cells.iter().zip(errors).take(range.end).skip(range.start);
        pairs.map(|(cell, de00)| cell.area_mm2 * de00).sum()
    };
    let mut chosen = vec![true; stretches.len()];
    for _ in 0..ROUNDS {
        let after = errors(&joined(&ahead, &grid, &stretches, &chosen, machine));
        let mut changed = false;
        for (chosen, range) in chosen.iter_mut().zip(&told) {
            let gains = sum(&after, range) < sum(&before, range) * (1.0 - WORTH_MORE_COMMANDS);
            changed |= *chosen && !gains;
            *chosen &= gains;
        }
        if !changed {
            break;
        }
    }
    let any = chosen.iter().any(|c| *c);
    any.then(|| joined(&ahead, &grid, &stretches, &chosen, machine))
}

/// Runs of free places near enough to each other to tell on the same plastic.
fn stretches(grid: &[Place], machine: &Machine) -> Vec<Range<usize>> {
    let far = machine.chamber.dead_mm3 + FORGOTTEN * machine.chamber.mixed_mm3;
    let mut found: Vec<Range<usize>> = Vec::new();
    let mut last: Option<f64> = None;
    for (i, place) in grid.iter().enumerate().filter(|(_, p)| p.free) {
        match found.last_mut() {
            Some(range)
                if range.end == i && last.is_some_and(|last| place.at_mm3 - last <= far) =>
            {
                range.end = i + 1;
            }
            _ => found.push(i..i + 1),
        }
        last = Some(place.at_mm3);
    }
    found
}

/// The cells that a stretch tells on.
fn told(stretch: &Range<usize>, grid: &[Place], cells: &[Cell], machine: &Machine) -> Range<usize> {
    let chamber = &machine.chamber;
    let at = |i: usize| grid.get(i).map_or(0.0, |p| p.at_mm3);
    // The blend at the beginning is there before anything is sent.
    let from = match stretch.start {
        0 => 0.0,
        first => at(first) + chamber.dead_mm3,
    };
    let to = at(stretch.end.saturating_sub(1)) + chamber.dead_mm3 + FORGOTTEN * chamber.mixed_mm3;
    let first = cells.partition_point(|c| c.to_mm3 <= from);
    first..cells.partition_point(|c| c.from_mm3 < to).max(first)
}

/// Finds the blends of the free places by least squares over the cells that they tell on.
fn sharpen(grid: &mut [Place], cells: &[Cell], machine: &Machine, model: &dyn MixModel) {
    let places: Vec<f64> = grid.iter().map(|g| g.at_mm3).collect();
    let mut near: Vec<Cell> = Vec::new();
    let mut rows = Vec::new();
    for (cell, row) in cells
        .iter()
        .zip(kernel::rows(cells, &places, &machine.chamber))
    {
        let parts = row.parts.iter().zip(grid.iter().skip(row.first));
        let free: f64 = parts.filter(|(_, p)| p.free).map(|(part, _)| part).sum();
        if free > 1e-4 {
            near.push(*cell);
            rows.push(row);
        }
    }
    let found = solve::blends(&near, grid, &rows, machine, model);
    for (place, shares) in grid.iter_mut().zip(found) {
        if place.free {
            place.shares = machine.fed(&shares);
        }
    }
}

/// The sharpened places of the stretches that are chosen, and what is sent ahead elsewhere.
fn joined(
    ahead: &[Place],
    sharp: &[Place],
    stretches: &[Range<usize>],
    chosen: &[bool],
    machine: &Machine,
) -> Commands {
    let mut commands = Vec::with_capacity(ahead.len());
    let mut pairs = stretches.iter().zip(chosen).peekable();
    for (i, (ahead, sharp)) in ahead.iter().zip(sharp).enumerate() {
        while pairs.next_if(|(range, _)| range.end <= i).is_some() {}
        let sharpened = pairs
            .peek()
            .is_some_and(|(range, chosen)| **chosen && range.contains(&i));
        let place = if sharpened { sharp } else { ahead };
        if sharpened || ahead.sent {
            commands.push(Command {
                at_mm3: place.at_mm3,
                shares: machine.fed(&place.shares),
            });
        }
    }
    Commands::tidy(commands, machine)
}
