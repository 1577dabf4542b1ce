//! The picture shows the colours asked for, where they are asked for.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use std::sync::Arc;

use blend::Srgb;
use geometry::{DVec3, Mesh, Progress, Surface, SurfacePoint};
use render::{Background, Camera, Frame, Image, Render, Stage, View, light};

const RED: [f64; 3] = [0.55, 0.05, 0.03];
const BLUE: [f64; 3] = [0.02, 0.10, 0.40];

/// A box of 20 × 20 × 20 mm on the ground.
fn cube() -> Mesh {
    let corner = |i: usize| {
        let side = |bit: usize| if i & bit == 0 { 0.0 } else { 20.0 };
        DVec3::new(side(1), side(2), side(4))
    };
    let quads = [
        [0, 2, 3, 1],
        [4, 5, 7, 6],
        [0, 1, 5, 4],
        [2, 6, 7, 3],
        [0, 4, 6, 2],
        [1, 3, 7, 5],
    ];
    let triangles = quads
        .iter()
        .flat_map(|&[a, b, c, d]| [[a, b, c], [a, c, d]])
        .collect();
    Mesh::new((0..8).map(corner).collect(), triangles).unwrap()
}

fn stage() -> Stage {
    Stage::new(&Surface::new(Arc::new(cube())), &Progress::new()).unwrap()
}

fn picture(view: View, colour: impl Fn(SurfacePoint) -> [f64; 3] + Sync) -> Image {
    let stage = stage();
    let frame = Frame {
        width: 120.0,
        height: 120.0,
        margin: 10.0,
    };
    let render = Render {
        width_px: 120,
        height_px: 120,
        ..Render::of(Camera::fitted(view, stage.surface().mesh(), frame))
    };
    render.run(&stage, colour, &Progress::new()).unwrap()
}

/// Linear light of a pixel.
fn linear(image: &Image, x: u32, y: u32) -> [f64; 3] {
    let [r, g, b, _] = image.pixel(x, y).unwrap();
    Srgb([r, g, b]).to_linear()
}

fn upper_red(point: SurfacePoint) -> [f64; 3] {
    if point.point_mm.z > 10.0 { RED } else { BLUE }
}

#[test]
fn a_two_coloured_box_from_the_front() {
    let image = picture(View::Front, upper_red);
    // The box fills pixels 10 to 110 either way, and its halves meet at pixel row 60.
    assert_eq!(image.pixel(5, 60).unwrap()[3], 0);
    assert_eq!(image.pixel(60, 5).unwrap()[3], 0);
    assert_eq!(image.pixel(60, 30).unwrap()[3], 255);
    let brightness = |pixel: [f64; 3], colour: [f64; 3]| pixel[0] / colour[0];
    let upper = linear(&image, 60, 30);
    assert!(brightness(upper, RED) > 0.75, "{upper:?}");
    let lower = linear(&image, 60, 80);
    assert!(lower[2] > 3.0 * lower[0], "{lower:?}");
}

#[test]
fn light_keeps_the_chromaticity() {
    let colour = [0.50, 0.25, 0.10];
    for view in [View::FrontRight, View::BackLeft, View::Top] {
        let image = picture(view, |_| colour);
        let mut seen = 0;
        for y in 0..120 {
            for x in 0..120 {
                if image.pixel(x, y).unwrap()[3] < 255 {
                    continue;
                }
                let [r, g, b] = linear(&image, x, y);
                let lit = r / colour[0];
                assert!((light::DARKEST - 0.01..1.01).contains(&lit), "{lit}");
                // Half a code value is at most about 2 % of light here.
                assert!((g / r - 0.5).abs() < 0.02, "{x} {y}: {r} {g} {b}");
                assert!((b / r - 0.2).abs() < 0.02, "{x} {y}: {r} {g} {b}");
                seen += 1;
            }
        }
        assert!(seen > 2000, "{view:?}: {seen}");
    }
}

#[test]
fn an_edge_between_colours_lies_where_it_should_to_a_fraction_of_a_pixel() {
    let slanted = |p: SurfacePoint| match p.point_mm.x + 0.37 * p.point_mm.y > 13.0 {
        true => [1.0; 3],
        false => [0.0; 3],
    };
    let image = picture(View::Top, slanted);
    for y in 15..105 {
        // Five pixels to a millimetre, the box's corner at pixel (10, 110).
        let y_mm = (110.0 - (f64::from(y) + 0.5)) / 5.0;
        let edge_px = 10.0 + 5.0 * (13.0 - 0.37 * y_mm);
        let lit = linear(&image, 106, y)[0];
        let white: f64 = (12..108).map(|x| linear(&image, x, y)[0] / lit).sum();
        let off = white - (108.0 - edge_px);
        assert!(off.abs() < 0.2, "row {y}: {off}");
    }
}

#[test]
fn every_view_fills_its_frame() {
    let views = [
        View::FrontRight,
        View::BackLeft,
        View::Front,
        View::Back,
        View::Right,
        View::Left,
        View::Top,
    ];
    for view in views {
        let image = picture(view, |_| RED);
        let (mut lo, mut hi) = ([u32::MAX; 2], [0; 2]);
        for y in 0..120 {
            for x in 0..120 {
                if image.pixel(x, y).unwrap()[3] == 255 {
                    lo = [lo[0].min(x), lo[1].min(y)];
                    hi = [hi[0].max(x), hi[1].max(y)];
                }
            }
        }
        assert!(lo.iter().all(|v| *v >= 9), "{view:?} {lo:?}");
        assert!(hi.iter().all(|v| *v <= 110), "{view:?} {hi:?}");
        let widest = (hi[0] - lo[0]).max(hi[1] - lo[1]);
        assert!(widest >= 96, "{view:?} {lo:?} {hi:?}");
    }
}

#[test]
fn the_shadow_lies_on_the_ground_and_paper_shows_through() {
    let stage = stage();
    let frame = Frame {
        width: 120.0,
        height: 120.0,
        margin: 30.0,
    };
    let camera = Camera::fitted(View::Top, stage.surface().mesh(), frame);
    let render = Render {
        width_px: 120,
        height_px: 120,
        background: Background::Paper([0.8; 3]),
        ..Render::of(camera)
    };
    let image = render.run(&stage, |_| RED, &Progress::new()).unwrap();
    let far = linear(&image, 2, 2)[0];
    let near = linear(&image, 27, 60)[0];
    assert!((far - 0.8).abs() < 0.01, "{far}");
    assert!(near < far - 0.02, "{near} {far}");
}

#[test]
fn a_cancelled_render_stops() {
    let progress = Progress::new();
    let stage = stage();
    let frame = Frame {
        width: 40.0,
        height: 40.0,
        margin: 2.0,
    };
    let camera = Camera::fitted(View::Front, stage.surface().mesh(), frame);
    progress.cancel();
    assert!(Render::of(camera).run(&stage, |_| RED, &progress).is_err());
    assert!(Stage::new(stage.surface(), &progress).is_err());
}

#[test]
fn odd_meshes_and_cameras_make_a_picture() {
    let flat = Mesh::new(
        vec![DVec3::ZERO, DVec3::X, DVec3::X * 2.0],
        vec![[0, 1, 2], [0, 0, 0]],
    );
    let surface = Surface::new(Arc::new(flat.unwrap()));
    let stage = Stage::new(&surface, &Progress::new()).unwrap();
    for view in [View::FrontRight, View::Front, View::Top] {
        let frame = Frame {
            width: 0.0,
            height: f64::MAX,
            margin: 1e9,
        };
        let camera = Camera::fitted(view, surface.mesh(), frame);
        let render = Render {
            width_px: 9,
            height_px: 0,
            ..Render::of(camera)
        };
        let image = render.run(&stage, |_| [f64::NAN; 3], &Progress::new());
        assert_eq!(image.unwrap().height_px(), 1);
    }
}
