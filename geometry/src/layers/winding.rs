//! Outlines that cross, overlap or run the wrong way round, drawn anew by the non-zero
//! winding rule.
//!
//! The outline of a sound mesh is proper as it is: no two of its lines meet, outer ones run
//! counter-clockwise, and holes lie in them and run clockwise. [`is_proper`] tells, by exact
//! predicates, in time near linear in the lines; only what fails is handed to [`redrawn`].

use glam::DVec2;
use i_overlay::core::fill_rule::FillRule;
use i_overlay::core::solver::Solver;
use i_overlay::float::overlay::OverlayOptions;
use i_overlay::float::simplify::SimplifyShape;
use robust::{Coord, orient2d};

use super::Contour;

/// Pairs of lines that are compared, for each line, before an outline is taken to be one
/// that must be drawn anew: the work stays in proportion whatever the file.
const MOST_PAIRS: usize = 64;

/// Whether the winding number is 1 on the left of every line and 0 on its right, and no two
/// lines meet. An open contour is taken as closed by a straight line.
pub(super) fn is_proper(contours: &[Contour]) -> bool {
    let lines = lines_of(contours);
    if lines.is_empty() {
        return true;
    }
    let columns = Columns::new(&lines);
    columns.lines_stay_apart(&lines) && contours_wind_once(contours, &lines, &columns)
}

/// The outline of where the contours wind about a point any number of times but 0.
pub(super) fn redrawn(contours: &[Contour]) -> Vec<Contour> {
    let paths: Vec<Vec<[f64; 2]>> = contours
        .iter()
        .map(|contour| contour.points_mm.iter().map(|p| p.to_array()).collect())
        .collect();
    // Whole numbers of 64 bits: what is lost is far below what the slicing itself rounds.
    let mut options = OverlayOptions::<f64, i64>::default();
    options.clean_result = false;
    let shapes = paths.simplify_shape_custom_as(FillRule::NonZero, options, Solver::default());
    shapes
        .into_iter()
        .flatten()
        .map(|path| Contour {
            points_mm: path.into_iter().map(DVec2::from_array).collect(),
            closed: true,
        })
        .collect()
}

/// A line of a contour and its place in it.
#[derive(Clone, Copy)]
struct Line {
    from: DVec2,
    to: DVec2,
    contour: u32,
    place: u32,
    /// Lines of this contour.
    count: u32,
}

impl Line {
    fn low(&self) -> DVec2 {
        self.from.min(self.to)
    }

    fn high(&self) -> DVec2 {
        self.from.max(self.to)
    }

    /// Whether one goes on where the other ends.
    fn follows(&self, other: &Self) -> bool {
        let apart = self.place.abs_diff(other.place);
        self.contour == other.contour && (apart == 1 || apart == self.count - 1)
    }

    /// Whether they have a point in common.
    fn meets(&self, other: &Self) -> bool {
        let apart = |l: f64, h: f64| h < l;
        let (low, high) = (self.low(), self.high());
        let (their_low, their_high) = (other.low(), other.high());
        if apart(low.x, their_high.x) || apart(their_low.x, high.x) {
            return false;
        }
        if apart(low.y, their_high.y) || apart(their_low.y, high.y) {
            return false;
        }
        let splits = |line: &Self, a: DVec2, b: DVec2| {
            side(line.from, line.to, a) * side(line.from, line.to, b) <= 0.0
        };
        splits(self, other.from, other.to) && splits(other, self.from, self.to)
    }
}

/// 1, 0 or −1: a point lies left of the line from `a` to `b`, on it, or right of it; exact.
fn side(a: DVec2, b: DVec2, p: DVec2) -> f64 {
    let coord = |v: DVec2| Coord { x: v.x, y: v.y };
    match orient2d(coord(a), coord(b), coord(p)) {
        s if s > 0.0 => 1.0,
        s if s < 0.0 => -1.0,
        _ => 0.0,
    }
}

fn lines_of(contours: &[Contour]) -> Vec<Line> {
    let mut lines = Vec::with_capacity(contours.iter().map(|c| c.points_mm.len()).sum());
    for (contour, Contour { points_mm, .. }) in (0..).zip(contours) {
        if points_mm.len() < 3 {
            continue;
        }
        let ends = points_mm.iter().zip(points_mm.iter().cycle().skip(1));
        lines.extend((0..).zip(ends).map(|(place, (&from, &to))| Line {
            from,
            to,
            contour,
            place,
            count: points_mm.len() as u32,
        }));
    }
    lines
}

/// Lines sorted into upright strips of the plane, each line into all that it reaches.
struct Columns {
    least: f64,
    per_mm: f64,
    count: usize,
    /// Where each strip begins in `members`; one more at the end.
    starts: Vec<u32>,
    members: Vec<u32>,
}

impl Columns {
    fn new(lines: &[Line]) -> Self {
        let (mut least, mut most, mut widths) = (f64::INFINITY, f64::NEG_INFINITY, 0.0);
        for line in lines {
            let (low, high) = (line.low().x, line.high().x);
            (least, most) = (least.min(low), most.max(high));
            widths += high - low;
        }
        // As many strips as keep a line in four of them on the average.
        let wanted = 3.0 * lines.len() as f64 * (most - least) / widths;
        let count = match wanted.is_finite() {
            true => (wanted as usize).clamp(1, lines.len()),
            false => 1,
        };
        let mut columns = Self {
            least,
            per_mm: count as f64 / (most - least).max(f64::MIN_POSITIVE),
            count,
            starts: vec![0; count + 1],
            members: Vec::new(),
        };
        columns.fill(lines);
        columns
    }

    fn fill(&mut self, lines: &[Line]) {
        for line in lines {
            for strip in self.reach(line) {
                self.starts[strip + 1] += 1;
            }
        }
        for strip in 0..self.count {
            self.starts[strip + 1] += self.starts[strip];
        }
        let total = self.starts.last().copied().unwrap_or(0);
        self.members = vec![0; total as usize];
        let mut next = self.starts.clone();
        for (i, line) in (0..).zip(lines) {
            for strip in self.reach(line) {
                self.members[next[strip] as usize] = i;
                next[strip] += 1;
            }
        }
    }

    fn at(&self, x: f64) -> usize {
        (((x - self.least) * self.per_mm) as usize).min(self.count - 1)
    }

    fn reach(&self, line: &Line) -> std::ops::RangeInclusive<usize> {
        self.at(line.low().x)..=self.at(line.high().x)
    }

    fn members(&self, strip: usize) -> &[u32] {
        &self.members[self.starts[strip] as usize..self.starts[strip + 1] as usize]
    }

    /// Whether no two lines meet but where one goes on from the other.
    fn lines_stay_apart(&self, lines: &[Line]) -> bool {
        let mut left = MOST_PAIRS * lines.len();
        let mut by_height = Vec::<&Line>::new();
        for strip in 0..self.count {
            by_height.clear();
            by_height.extend(self.members(strip).iter().map(|&i| &lines[i as usize]));
            by_height.sort_unstable_by(|a, b| a.low().y.total_cmp(&b.low().y));
            for (i, line) in by_height.iter().enumerate() {
                let top = line.high().y;
                for other in by_height[i + 1..].iter().take_while(|o| o.low().y <= top) {
                    if left == 0 || (!line.follows(other) && line.meets(other)) {
                        return false;
                    }
                    left -= 1;
                }
            }
        }
        true
    }

    /// How often lines of other contours wind about a point: those beneath it that run
    /// towards greater x, less those that run back.
    fn winding(&self, lines: &[Line], point: DVec2, contour: u32) -> i32 {
        let beneath = |line: &&Line| {
            let (left, right) = (line.from.x <= point.x, line.to.x <= point.x);
            line.contour != contour && left != right && {
                let forward = line.to.x > line.from.x;
                let side = side(line.from, line.to, point);
                if forward { side > 0.0 } else { side < 0.0 }
            }
        };
        let members = self.members(self.at(point.x)).iter();
        members
            .map(|&i| &lines[i as usize])
            .filter(beneath)
            .map(|line| if line.to.x > line.from.x { 1 } else { -1 })
            .sum()
    }
}

/// Whether outer contours lie in none, and holes in one.
fn contours_wind_once(contours: &[Contour], lines: &[Line], columns: &Columns) -> bool {
    let mut drawn = (0..).zip(contours).filter(|(_, c)| c.points_mm.len() >= 3);
    drawn.all(|(number, contour)| {
        let by_place = |a: &&DVec2, b: &&DVec2| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y));
        let Some(&leftmost) = contour.points_mm.iter().min_by(by_place) else {
            return true;
        };
        let around = columns.winding(lines, leftmost, number);
        match contour.area_mm2() {
            area if area > 0.0 => around == 0,
            area if area < 0.0 => around == 1,
            _ => true,
        }
    })
}
