//! A point in the one field of a variant, `Direction(1, 0, 0)` or `Direction((1, 0, 0))`: the
//! grammar takes the first alone, and people write the second.

use std::fmt;

use glam::DVec3;
use serde::de::{Deserialize, Deserializer, Error, SeqAccess, Visitor};

/// Reads a point with or without brackets of its own.
pub(super) fn deserialize<'de, D: Deserializer<'de>>(source: D) -> Result<DVec3, D::Error> {
    source.deserialize_tuple(3, Point)
}

struct Point;

impl<'de> Visitor<'de> for Point {
    type Value = DVec3;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a point (x, y, z)")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut numbers: A) -> Result<DVec3, A::Error> {
        let mut point = DVec3::ZERO;
        for axis in 0..3 {
            match numbers.next_element::<First>()? {
                Some(First::Point(whole)) if axis == 0 => return Ok(whole),
                Some(First::Number(number)) => point[axis] = number,
                _ => return Err(A::Error::invalid_length(axis, &self)),
            }
        }
        Ok(point)
    }
}

/// What may stand first.
enum First {
    Number(f64),
    Point(DVec3),
}

impl<'de> Deserialize<'de> for First {
    fn deserialize<D: Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
        source.deserialize_any(Either)
    }
}

struct Either;

impl<'de> Visitor<'de> for Either {
    type Value = First;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a number or a point (x, y, z)")
    }

    fn visit_f64<E: Error>(self, number: f64) -> Result<First, E> {
        Ok(First::Number(number))
    }

    fn visit_i64<E: Error>(self, number: i64) -> Result<First, E> {
        Ok(First::Number(number as f64))
    }

    fn visit_u64<E: Error>(self, number: u64) -> Result<First, E> {
        Ok(First::Number(number as f64))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, numbers: A) -> Result<First, A::Error> {
        Point.visit_seq(numbers).map(First::Point)
    }
}
