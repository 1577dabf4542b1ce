//! How heights lie on the ribbon: the same scale as the part's on the stage.

use egui::{Rect, pos2};

use crate::model::camera::Camera;

/// Steps between marks of the ruler, mm.
const STEPS_MM: [f64; 16] = [
    0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0,
];

/// The least distance between numbers, points.
const NUMBER_GAP: f32 = 38.0;

/// Where heights lie on the ribbon.
#[derive(Clone, Copy, Debug)]
pub struct Scale {
    camera: Camera,
    stage: Rect,
    /// The ribbon's drawing area.
    pub rect: Rect,
}

impl Scale {
    /// The scale that goes with a view of the stage.
    pub fn new(camera: Camera, stage: Rect, rect: Rect) -> Self {
        Self {
            camera,
            stage,
            rect,
        }
    }

    /// Down the window, points.
    pub fn y(&self, height_mm: f64) -> f32 {
        self.camera.ribbon_y(self.stage, height_mm)
    }

    /// The height at a position down the window, mm.
    pub fn height_mm(&self, y: f32) -> f64 {
        self.camera.ribbon_height_mm(self.stage, y)
    }

    /// The lowest and the highest height in sight, mm.
    pub fn in_sight_mm(&self) -> (f64, f64) {
        (
            self.height_mm(self.rect.bottom()),
            self.height_mm(self.rect.top()),
        )
    }

    /// The rectangle between two heights and two positions across.
    pub fn span(&self, x: (f32, f32), bottom_mm: f64, top_mm: f64) -> Rect {
        Rect::from_min_max(pos2(x.0, self.y(top_mm)), pos2(x.1, self.y(bottom_mm)))
    }

    /// The step between numbers and that between marks, mm.
    pub fn steps_mm(&self) -> (f64, f64) {
        let wanted = f64::from(NUMBER_GAP) * self.camera.mm_per_point;
        let numbers = STEPS_MM.iter().position(|&s| s >= wanted);
        let numbers = numbers.unwrap_or(STEPS_MM.len() - 1);
        let fine = f64::from(6.0_f32) * self.camera.mm_per_point;
        let marks = STEPS_MM.iter().copied().find(|&s| s >= fine);
        let number = STEPS_MM[numbers];
        // Marks must fall on the numbers too.
        let mark = [10.0, 5.0, 4.0, 2.0, 1.0]
            .map(|parts| number / parts)
            .into_iter()
            .find(|m| *m >= marks.unwrap_or(number) * 0.999)
            .unwrap_or(number);
        (number, mark)
    }

    /// The nearest of the ruler's marks, mm.
    pub fn snapped_mm(&self, height_mm: f64) -> f64 {
        let (_, mark) = self.steps_mm();
        (height_mm / mark).round() * mark
    }
}

/// Multiples of a step between two heights, at most a few hundred.
pub(super) fn multiples(step_mm: f64, (low_mm, high_mm): (f64, f64)) -> impl Iterator<Item = i64> {
    let first = (low_mm / step_mm).ceil();
    let last = (high_mm / step_mm).floor().min(first + 2000.0);
    let is_sound = first.is_finite() && last.is_finite();
    let range = is_sound.then_some((first as i64)..=(last as i64));
    range.into_iter().flatten()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scale(mm_per_point: f64) -> Scale {
        let rect = Rect::from_min_max(pos2(700.0, 40.0), pos2(960.0, 760.0));
        let camera = Camera {
            mm_per_point,
            ..Camera::default()
        };
        Scale::new(camera, rect, rect)
    }

    #[test]
    fn numbers_stand_apart_and_marks_divide_them_at_any_zoom() {
        for power in -60..8 {
            let mm_per_point = 1.2_f64.powi(power);
            let (number, mark) = scale(mm_per_point).steps_mm();
            assert!(
                number / mm_per_point >= 37.9 || number == 1000.0,
                "{mm_per_point}"
            );
            let parts = number / mark;
            assert!((parts - parts.round()).abs() < 1e-9, "{number} {mark}");
            assert!(mark / mm_per_point >= 4.0 || number == 1000.0);
        }
    }

    #[test]
    fn multiples_lie_between() {
        let found: Vec<i64> = multiples(5.0, (-1.0, 11.0)).collect();
        assert_eq!(found, [0, 1, 2]);
        assert_eq!(multiples(0.0, (0.0, 1.0)).count(), 0);
    }
}
