//! Frame times without a window: still, turning and painting, on meshes of several sizes.

use std::sync::Arc;
use std::time::{Duration, Instant};

use bevy::app::AppExit;
use bevy::prelude::*;
use bevy::render::render_resource::PollType;
use bevy::render::renderer::{RenderAdapterInfo, RenderDevice};
use egui::pos2;
use geometry::Surface;
use plan::{FirstPlan, MeshSource, Plan};

use super::app::{Canvas, windowless};
use super::{Desk, upload::Uploads};
use crate::state::Session;
use crate::state::document::{Document, Origin};
use crate::state::hand::Tool;

/// Frames measured in each state, unless that takes too long.
const FRAMES: usize = 120;

/// Where frames are slow, no more are measured in one state after this time.
const LONG_ENOUGH: Duration = Duration::from_secs(10);

/// But never fewer than this.
const LEAST_FRAMES: usize = 12;

/// Frames drawn before measuring, for shaders to be compiled and sizes to settle.
const WARM_UP: usize = 20;

/// Median and 95th percentile, milliseconds.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Times {
    median_ms: f64,
    p95_ms: f64,
}

impl Times {
    fn of(mut ms: Vec<f64>) -> Self {
        ms.sort_by(f64::total_cmp);
        let at = |share: f64| {
            let i = ((ms.len() as f64 * share) as usize).min(ms.len().saturating_sub(1));
            ms.get(i).copied().unwrap_or(f64::NAN)
        };
        let round = |ms: f64| (ms * 100.0).round() / 100.0;
        Self {
            median_ms: round(at(0.5)),
            p95_ms: round(at(0.95)),
        }
    }
}

/// One mesh's figures.
#[derive(Clone, Debug)]
struct Figures {
    triangles: usize,
    /// From the mesh in memory to the first whole picture of it.
    first_picture_ms: f64,
    /// A frame in which nothing changes.
    still: Times,
    /// A frame in which the view turns.
    turning: Times,
    /// A frame in which the brush moves on.
    painting: Times,
    /// From the pointer's movement to the paint worked out, within such a frame.
    dab: Times,
    /// From lifting the brush to the part drawn anew with the stroke in it.
    stroke_done_ms: f64,
}

struct Report {
    card: String,
    driver: String,
    width: u32,
    height: u32,
    scale: f32,
    meshes: Vec<Figures>,
}

/// Measures on meshes of so many thousand triangles and prints a table.
pub fn run(thousands: &[u32], canvas: Canvas) -> AppExit {
    let mut app = windowless(Session::new(None), canvas);
    app.finish();
    app.cleanup();
    let mut meshes = Vec::new();
    for &thousand in thousands {
        match measure(&mut app, thousand) {
            Ok(figures) => meshes.push(figures),
            Err(why) => {
                error!("{why}");
                return AppExit::error();
            }
        }
    }
    let info = app.world().get_resource::<RenderAdapterInfo>();
    let report = Report {
        card: info.map(|i| i.name.clone()).unwrap_or_default(),
        driver: info.map(|i| i.driver_info.clone()).unwrap_or_default(),
        width: canvas.width,
        height: canvas.height,
        scale: canvas.scale,
        meshes,
    };
    print(&report);
    AppExit::Success
}

/// Prints the report: what it was measured on, and a row for each mesh.
fn print(report: &Report) {
    let Report {
        card,
        driver,
        width,
        height,
        scale,
        meshes,
    } = report;
    println!("{card} ({driver}), {width}x{height} pixels, {scale} a point");
    println!("milliseconds, median / 95th percentile of up to {FRAMES} frames");
    println!();
    println!(
        "{:>10} {:>14} {:>17} {:>17} {:>17} {:>17} {:>11}",
        "triangles", "first picture", "still", "turning", "painting", "of which dab", "stroke done"
    );
    for m in meshes {
        let pair = |t: Times| format!("{:.2} / {:.2}", t.median_ms, t.p95_ms);
        println!(
            "{:>10} {:>14.0} {:>17} {:>17} {:>17} {:>17} {:>11.0}",
            m.triangles,
            m.first_picture_ms,
            pair(m.still),
            pair(m.turning),
            pair(m.painting),
            pair(m.dab),
            m.stroke_done_ms
        );
    }
}

/// A ribbed ring of about so many thousand triangles, standing on the bed.
fn ring(thousand: u32) -> Result<Surface, String> {
    let quads = f64::from(thousand.clamp(1, 20_000)) * 500.0;
    let round = (quads * 2.0).sqrt().round().max(8.0) as u32;
    let across = (quads / f64::from(round)).round().max(8.0) as u32;
    let mesh = geometry::solids::torus(40.0, 15.0, round, across).map_err(|e| e.to_string())?;
    let mesh = geometry::place::on_bed(mesh).map_err(|e| e.to_string())?;
    Ok(Surface::new(Arc::new(mesh)))
}

fn measure(app: &mut App, thousand: u32) -> Result<Figures, String> {
    let surface = ring(thousand)?;
    let (lo, hi) = surface.mesh().bounds();
    let triangles = surface.mesh().triangles().len();
    let plan = Plan::first(FirstPlan {
        mesh: MeshSource::named("ring.stl"),
        title: "Ring".to_owned(),
        height_mm: hi.z - lo.z,
    });
    let start = Instant::now();
    session(app, |s| s.take_part(plan, Origin::default(), surface))?;
    settle(app);
    let first_picture_ms = ms_since(start);
    session(app, |s| {
        s.view.camera.pitch_deg = 50.0;
        s.view.fit_wanted = true;
    })?;
    (0..WARM_UP).for_each(|_| {
        frame(app);
    });
    let still = Times::of(in_time().map(|_| frame(app)).collect());
    let mut turning = Vec::new();
    for _ in in_time() {
        session(app, |s| s.view.camera.orbit(egui::vec2(15.0, 0.0)))?;
        turning.push(frame(app));
    }
    let (painting, dab) = paint(app)?;
    let start = Instant::now();
    session(app, Session::end_stroke)?;
    settle(app);
    if !session(app, |s| s.doc.as_ref().is_some_and(has_paint))? {
        return Err("the brush missed the part, so painting was not measured".to_owned());
    }
    Ok(Figures {
        triangles,
        first_picture_ms,
        still,
        turning: Times::of(turning),
        painting,
        dab,
        stroke_done_ms: ms_since(start),
    })
}

fn has_paint(doc: &Document) -> bool {
    doc.plan().regions.iter().any(|r| !r.brush.is_empty())
}

/// The numbers of the frames to measure, as far as time allows.
fn in_time() -> impl Iterator<Item = usize> {
    let begun = Instant::now();
    (0..FRAMES).take_while(move |&i| i < LEAST_FRAMES || begun.elapsed() < LONG_ENOUGH)
}

/// Paints a long stroke round the ring, one step a frame.
fn paint(app: &mut App) -> Result<(Times, Times), String> {
    session(app, |s| {
        s.hand.take(Tool::Brush);
        s.hand.set_brush_mm(4.0);
    })?;
    let (mut frames, mut dabs) = (Vec::new(), Vec::new());
    for step in in_time() {
        let angle = step as f32 / FRAMES as f32 * std::f32::consts::TAU * 0.9;
        let whole = Instant::now();
        let dab = Instant::now();
        session(app, |s| {
            // Round the ring's upper side, as it is seen from above.
            let (sin, cos) = f64::from(angle).sin_cos();
            let top = s.doc.as_ref().map_or(0.0, |d| d.extent_mm().1);
            let point = geometry::DVec3::new(40.0 * cos, 40.0 * sin, top);
            let at = s.view.camera.project(s.view.stage, point);
            let at = at.unwrap_or(pos2(0.0, 0.0));
            match step {
                0 => s.begin_stroke(at),
                _ => s.go_on_stroke(at),
            }
        })?;
        dabs.push(ms_since(dab));
        frame(app);
        frames.push(ms_since(whole));
    }
    Ok((Times::of(frames), Times::of(dabs)))
}

fn session<T>(app: &mut App, change: impl FnOnce(&mut Session) -> T) -> Result<T, String> {
    let mut desk = app
        .world_mut()
        .get_non_send_mut::<Desk>()
        .ok_or("the session is gone")?;
    Ok(change(&mut desk.session))
}

/// Draws until no work is left.
fn settle(app: &mut App) {
    loop {
        frame(app);
        let world = app.world();
        let busy = world.get_resource::<Uploads>().is_some_and(|u| u.busy);
        let working = world
            .get_non_send::<Desk>()
            .is_some_and(|d| d.session.is_working() || d.session.has_skin_updates());
        if !busy && !working {
            return;
        }
        if working {
            std::thread::sleep(std::time::Duration::from_millis(2));
        }
    }
}

/// Draws a frame to its end on the card and gives its time, ms.
fn frame(app: &mut App) -> f64 {
    let start = Instant::now();
    app.update();
    if let Some(device) = app.world().get_resource::<RenderDevice>() {
        // A lost device shows as an error in the next frame.
        let _ = device.poll(PollType::wait_indefinitely());
    }
    ms_since(start)
}

fn ms_since(start: Instant) -> f64 {
    start.elapsed().as_secs_f64() * 1000.0
}
