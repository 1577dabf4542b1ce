//! The sheet as PDF, by `pdf-writer`, in one of the typefaces that every reader has.

use pdf_writer::{Content, Name, Pdf, Rect as Box, Ref, Str};

use super::shapes::{Paper, Shape, shapes};

/// Points of a millimetre.
const PT: f64 = 72.0 / 25.4;

/// The sheet as a page of its own size.
pub fn pdf(paper: Paper) -> Vec<u8> {
    let (width, height) = paper.size_mm();
    let [catalogue, pages, page, drawing, typeface] = [1, 2, 3, 4, 5].map(Ref::new);
    let face = Name(b"F");
    let mut content = Content::new();
    for shape in shapes(paper) {
        match shape {
            Shape::Filled(rect) => {
                let size = (rect.x.1 - rect.x.0, rect.y.1 - rect.y.0);
                let (x, y) = (points(rect.x.0), points(height - rect.y.1));
                content.rect(x, y, points(size.0), points(size.1));
                content.fill_nonzero();
            }
            Shape::Text { at, size_mm, words } => {
                content.begin_text();
                content.set_font(face, points(size_mm));
                content.next_line(points(at.0), points(height - at.1));
                content.show(Str(words.as_bytes()));
                content.end_text();
            }
        }
    }
    let mut file = Pdf::new();
    file.catalog(catalogue).pages(pages);
    file.pages(pages).kids([page]).count(1);
    file.page(page)
        .parent(pages)
        .media_box(Box::new(0.0, 0.0, points(width), points(height)))
        .contents(drawing)
        .resources()
        .fonts()
        .pair(face, typeface);
    file.type1_font(typeface).base_font(Name(b"Helvetica"));
    file.stream(drawing, &content.finish());
    file.finish()
}

fn points(mm: f64) -> f32 {
    (mm * PT) as f32
}
