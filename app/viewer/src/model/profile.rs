//! What the ribbon shows at each height, drawn from the schedule.

use blend::Srgb;
use plan::Schedule;

/// One layer as the ribbon shows it.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Where the layer begins, mm.
    pub bottom_mm: f64,
    /// Where it ends, mm.
    pub top_mm: f64,
    /// Visible area, mm².
    pub area_mm2: f64,
    /// Volume, mm³.
    pub volume_mm3: f64,
    /// What is laid down, the regions in the list's order from below: so a region keeps its
    /// side from layer to layer, whatever the order of printing.
    pub pieces: Vec<Piece>,
}

/// One blend's part in a layer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Piece {
    /// Index of the region.
    pub region: usize,
    /// Place of its dose in the layer, in print order.
    pub dose: usize,
    /// Its colour.
    pub colour: Srgb,
    /// Its share of the layer's visible area; of the volume where the layer shows none.
    pub share: f64,
}

impl Row {
    /// Visible area per mm of height, mm²/mm.
    pub fn area_per_mm(&self) -> f64 {
        self.area_mm2 / self.height_mm()
    }

    /// Volume per mm of height, mm³/mm: the mean cross-section in mm².
    pub fn volume_per_mm(&self) -> f64 {
        self.volume_mm3 / self.height_mm()
    }

    fn height_mm(&self) -> f64 {
        (self.top_mm - self.bottom_mm).max(f64::MIN_POSITIVE)
    }

    /// Blends in the layer.
    pub fn blends(&self) -> usize {
        self.pieces.len()
    }
}

/// All layers from the bed upwards, and what the ribbon scales its curves by.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Profile {
    /// The layers.
    pub rows: Vec<Row>,
    /// The area per mm that takes the whole width, mm²/mm.
    pub most_area_per_mm: f64,
    /// The volume per mm that takes the whole width, mm³/mm.
    pub most_volume_per_mm: f64,
}

impl Profile {
    /// From a schedule.
    pub fn of(schedule: &Schedule) -> Self {
        let rows: Vec<Row> = schedule.layers.iter().map(row).collect();
        let most = |of: fn(&Row) -> f64| full_width(rows.iter().map(of).collect());
        Self {
            most_area_per_mm: most(Row::area_per_mm),
            most_volume_per_mm: most(Row::volume_per_mm),
            rows,
        }
    }

    /// Index of the layer that holds a height; `None` outside the part.
    pub fn layer_at(&self, height_mm: f64) -> Option<usize> {
        let after = self.rows.partition_point(|r| r.bottom_mm <= height_mm);
        let at = after.checked_sub(1)?;
        (height_mm < self.rows[at].top_mm).then_some(at)
    }

    /// Index of the layer nearest to a height; `None` when there are no layers.
    pub fn layer_near(&self, height_mm: f64) -> Option<usize> {
        let after = self.rows.partition_point(|r| r.bottom_mm <= height_mm);
        (!self.rows.is_empty()).then(|| after.saturating_sub(1))
    }

    /// The layers that show between two heights.
    pub fn between(&self, from_mm: f64, to_mm: f64) -> std::ops::Range<usize> {
        let first = self.rows.partition_point(|r| r.top_mm <= from_mm);
        let end = self.rows.partition_point(|r| r.bottom_mm < to_mm);
        first..end.max(first)
    }

    /// The heights between which a region shows; `None` when it shows nowhere.
    pub fn extent_mm(&self, region: usize) -> Option<(f64, f64)> {
        let has = |row: &&Row| row.pieces.iter().any(|p| p.region == region);
        let first = self.rows.iter().find(has)?;
        let last = self.rows.iter().rev().find(has)?;
        Some((first.bottom_mm, last.top_mm))
    }

    /// The colours of a region from the bottom upwards, one for each layer that has it.
    pub fn colours(&self, region: usize) -> impl DoubleEndedIterator<Item = Srgb> {
        self.rows.iter().flat_map(move |row| {
            let of_it = row.pieces.iter().filter(move |p| p.region == region);
            of_it.map(|p| p.colour)
        })
    }
}

/// The value that takes the whole width of the ribbon's column. The skin of a flat top lies in
/// one layer and may be a hundred times that of any other: a few such layers run over the
/// edge, so that the others can be told apart.
fn full_width(mut values: Vec<f64>) -> f64 {
    const KEPT: f64 = 0.97;
    const ROOM: f64 = 1.25;
    values.sort_by(f64::total_cmp);
    let most = values.last().copied().unwrap_or_default();
    let usual = values.get((values.len() as f64 * KEPT) as usize);
    usual.map_or(most, |usual| (usual * ROOM).min(most))
}

fn row(layer: &plan::schedule::Layer) -> Row {
    let area_mm2: f64 = layer.doses.iter().map(|d| d.area_mm2).sum();
    let volume_mm3: f64 = layer.doses.iter().map(|d| d.volume_mm3).sum();
    let share = |area: f64, volume: f64| match area_mm2 > 0.0 {
        true => area / area_mm2,
        false => volume / volume_mm3.max(f64::MIN_POSITIVE),
    };
    let piece = |(dose, d): (usize, &plan::schedule::Dose)| Piece {
        region: d.region,
        dose,
        colour: d.srgb,
        share: share(d.area_mm2, d.volume_mm3),
    };
    let mut pieces: Vec<Piece> = layer.doses.iter().enumerate().map(piece).collect();
    pieces.sort_by_key(|p| p.region);
    Row {
        bottom_mm: layer.span.bottom_mm,
        top_mm: layer.span.top_mm,
        area_mm2,
        volume_mm3,
        pieces,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn profile() -> Profile {
        let row = |n: usize, regions: &[usize]| Row {
            bottom_mm: n as f64 * 0.2,
            top_mm: (n + 1) as f64 * 0.2,
            area_mm2: 4.0,
            volume_mm3: 2.0,
            pieces: regions
                .iter()
                .map(|&region| Piece {
                    region,
                    dose: 0,
                    colour: Srgb([region as u8, 0, 0]),
                    share: 1.0 / regions.len() as f64,
                })
                .collect(),
        };
        let rows = vec![row(0, &[0]), row(1, &[0, 2]), row(2, &[2]), row(3, &[0])];
        Profile {
            rows,
            most_area_per_mm: 20.0,
            most_volume_per_mm: 10.0,
        }
    }

    #[test]
    fn a_height_finds_its_layer() {
        let p = profile();
        assert_eq!(p.layer_at(0.0), Some(0));
        assert_eq!(p.layer_at(0.3), Some(1));
        assert_eq!(p.layer_at(0.79), Some(3));
        assert_eq!(p.layer_at(0.81), None);
        assert_eq!(p.layer_at(-0.1), None);
        assert_eq!(p.layer_near(99.0), Some(3));
        assert_eq!(p.layer_near(-9.0), Some(0));
        assert_eq!(Profile::default().layer_near(1.0), None);
        assert_eq!(p.between(0.25, 0.55), 1..3);
        assert_eq!(p.between(5.0, 9.0), 4..4);
    }

    #[test]
    fn a_few_wide_layers_do_not_flatten_the_others() {
        let mut values = vec![10.0; 99];
        values.push(5000.0);
        assert_eq!(full_width(values), 12.5);
        assert_eq!(full_width(vec![3.0, 4.0]), 4.0);
        assert_eq!(full_width(Vec::new()), 0.0);
    }

    #[test]
    fn a_region_shows_from_its_first_to_its_last_layer() {
        let p = profile();
        let (lo, hi) = p.extent_mm(2).expect("it shows");
        assert!((lo - 0.2).abs() < 1e-12 && (hi - 0.6).abs() < 1e-12);
        assert_eq!(p.extent_mm(7), None);
        assert_eq!(p.colours(2).count(), 2);
    }
}
