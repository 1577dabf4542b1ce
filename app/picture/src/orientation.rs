//! How a camera was held: the orientation tag of Exif (CIPA DC-008, tag 274).

/// How stored rows and columns are to be seen, in the tag's order from 1 to 8.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Orientation {
    /// As stored.
    #[default]
    Upright,
    /// Mirrored left to right.
    Mirrored,
    /// Turned by half a turn.
    HalfTurn,
    /// Mirrored top to bottom.
    Flipped,
    /// Rows are columns: mirrored about the diagonal from the top left.
    Transposed,
    /// To be turned a quarter turn clockwise.
    Clockwise,
    /// Mirrored about the other diagonal.
    Transverse,
    /// To be turned a quarter turn anticlockwise.
    Anticlockwise,
}

impl Orientation {
    /// From the tag's value; anything else than 1 to 8 is as stored.
    fn of_tag(value: u16) -> Self {
        match value {
            2 => Self::Mirrored,
            3 => Self::HalfTurn,
            4 => Self::Flipped,
            5 => Self::Transposed,
            6 => Self::Clockwise,
            7 => Self::Transverse,
            8 => Self::Anticlockwise,
            _ => Self::Upright,
        }
    }

    /// From the TIFF structure that holds Exif; as stored where it has no such tag or is broken.
    pub fn of_exif(tiff: &[u8]) -> Self {
        // Some writers leave the marker of a JPEG's segment before it.
        let tiff = tiff.strip_prefix(b"Exif\0\0").unwrap_or(tiff);
        orientation_tag(tiff).map_or(Self::Upright, Self::of_tag)
    }

    /// Whether width and height change places.
    pub(crate) fn turns_sides(self) -> bool {
        matches!(
            self,
            Self::Transposed | Self::Clockwise | Self::Transverse | Self::Anticlockwise
        )
    }

    /// Where a pixel of the upright picture is stored, in a picture stored with this size.
    pub(crate) fn stored_at(
        self,
        (x, y): (usize, usize),
        (width, height): (usize, usize),
    ) -> (usize, usize) {
        let from_right = |x: usize| (width.saturating_sub(1)).saturating_sub(x);
        let from_bottom = |y: usize| (height.saturating_sub(1)).saturating_sub(y);
        match self {
            Self::Upright => (x, y),
            Self::Mirrored => (from_right(x), y),
            Self::HalfTurn => (from_right(x), from_bottom(y)),
            Self::Flipped => (x, from_bottom(y)),
            Self::Transposed => (y, x),
            Self::Clockwise => (y, from_bottom(x)),
            Self::Transverse => (from_right(y), from_bottom(x)),
            Self::Anticlockwise => (from_right(y), x),
        }
    }
}

/// The value of tag 274 in the first directory.
fn orientation_tag(tiff: &[u8]) -> Option<u16> {
    let little = match tiff.get(..4)? {
        b"II*\0" => true,
        b"MM\0*" => false,
        _ => return None,
    };
    let short = |at: usize| {
        let two: [u8; 2] = tiff.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(match little {
            true => u16::from_le_bytes(two),
            false => u16::from_be_bytes(two),
        })
    };
    let long = |at: usize| {
        let four: [u8; 4] = tiff.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(match little {
            true => u32::from_le_bytes(four),
            false => u32::from_be_bytes(four),
        })
    };
    let directory = long(4)? as usize;
    let entries = usize::from(short(directory)?);
    (0..entries)
        .map_while(|i| directory.checked_add(2 + 12 * i))
        .find(|&entry| short(entry) == Some(274))
        .and_then(|entry| short(entry.checked_add(8)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tiff(value: u16) -> Vec<u8> {
        let mut bytes = b"MM\0*\0\0\0\x08\0\x01".to_vec();
        bytes.extend(274u16.to_be_bytes());
        bytes.extend([0, 3, 0, 0, 0, 1]);
        bytes.extend(value.to_be_bytes());
        bytes.extend([0; 6]);
        bytes
    }

    /// Where the first stored pixel is seen, by CIPA DC-008, table of tag 274: for 1 to 8 row 0
    /// is the visual top, top, bottom, bottom, left, right, right, left, and column 0 the left,
    /// right, right, left, top, top, bottom, bottom.
    #[test]
    fn the_first_stored_pixel_is_seen_where_the_standard_says() {
        let (width, height) = (3, 2);
        let seen = [
            (0, 0),
            (2, 0),
            (2, 1),
            (0, 1),
            (0, 0),
            (1, 0),
            (1, 2),
            (0, 2),
        ];
        for (value, at) in (1u16..).zip(seen) {
            let orientation = Orientation::of_exif(&tiff(value));
            let stored = orientation.stored_at(at, (width, height));
            assert_eq!(stored, (0, 0), "{value}");
        }
    }

    #[test]
    fn broken_exif_is_as_stored() {
        for end in 0..20 {
            let cut = tiff(6);
            let found = Orientation::of_exif(cut.get(..end).unwrap());
            assert_eq!(found, Orientation::Upright);
        }
    }
}
