//! Frame times without a window: still, turning and painting, on meshes of several sizes.

use std::collections::VecDeque;
use std::time::{Duration, Instant};

use bevy::app::AppExit;
use bevy::prelude::*;
use bevy::render::render_resource::PollType;
use bevy::render::renderer::{RenderAdapterInfo, RenderDevice};
use bevy::render::view::screenshot::{Screenshot, ScreenshotCaptured};
use egui::pos2;

use super::app::{Canvas, Drawn, windowless};
use super::desk::{Compiling, Desk};
use super::upload::Uploads;
use crate::model::document::{Document, Origin};
use crate::model::ring;
use crate::model::tool::Tool;
use crate::model::view::Look;
use crate::session::Session;

/// Frames measured in each state, unless that takes too long.
const FRAMES: usize = 120;

/// Where frames are slow, no more are measured in one state after this time.
const LONG_ENOUGH: Duration = Duration::from_secs(10);

/// But never fewer than this.
const LEAST_FRAMES: usize = 12;

/// The least share of the stage that the part must fill to have been drawn at all.
const LEAST_SHARE: f32 = 0.05;

/// The most frames until a picture is back from the card.
const MOST_FRAMES_TO_SEE: usize = 300;

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
        Self {
            median_ms: at(0.5),
            p95_ms: at(0.95),
        }
    }
}

impl std::fmt::Display for Times {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:.1} / {:.1}", self.median_ms, self.p95_ms)
    }
}

/// Where a frame's time goes, milliseconds.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Frame {
    /// Panels and scene: all that the window itself does.
    window_ms: f64,
    /// Making the commands for the card.
    commands_ms: f64,
    /// Waiting for the card to carry them out.
    card_ms: f64,
}

impl Frame {
    fn whole_ms(self) -> f64 {
        self.window_ms + self.commands_ms + self.card_ms
    }
}

/// The parts of many frames.
#[derive(Clone, Debug)]
struct Parts {
    whole: Times,
    window: Times,
    commands: Times,
    card: Times,
}

impl Parts {
    fn of(frames: &[Frame]) -> Self {
        let each = |of: fn(&Frame) -> f64| Times::of(frames.iter().map(of).collect());
        Self {
            whole: each(|f| f.whole_ms()),
            window: each(|f| f.window_ms),
            commands: each(|f| f.commands_ms),
            card: each(|f| f.card_ms),
        }
    }
}

/// When the window's own part of a frame was done.
#[derive(Resource, Default)]
struct WindowDone(Option<Instant>);

/// One mesh's figures.
#[derive(Clone, Debug)]
struct Figures {
    triangles: usize,
    /// From the mesh in memory to the first whole picture of it, and to its layers.
    opened: Done,
    /// A frame in which nothing changes.
    still: Parts,
    /// A frame in which the view turns.
    turning: Parts,
    /// A frame in which the brush moves on.
    painting: Parts,
    /// From the pointer's movement to the paint on its way to the card.
    dab: Times,
    /// After lifting the brush.
    stroke: Done,
    /// After a fade's stop was moved.
    fade: Done,
}

/// How long a change took to be done, ms.
#[derive(Clone, Copy, Debug)]
struct Done {
    /// Until the part was drawn anew.
    drawn_ms: f64,
    /// Until the heights and what will be printed were, too.
    told_ms: f64,
}

impl std::fmt::Display for Done {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:.0} / {:.0}", self.drawn_ms, self.told_ms)
    }
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
    app.init_resource::<WindowDone>()
        .init_resource::<Seen>()
        .add_systems(Last, |mut done: ResMut<WindowDone>| {
            done.0 = Some(Instant::now());
        });
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
    println!("milliseconds, median / 95th percentile of up to {FRAMES} frames;");
    println!(
        "of opening, a stroke and a fade: until it is drawn / until its layers are told, of a"
    );
    println!("fade with the colours as printed, which are shown");
    println!();
    println!(
        "{:>10} {:>13} {:>15} {:>15} {:>15} {:>15} {:>13} {:>13}",
        "triangles", "opened", "still", "turning", "painting", "dab seen", "stroke", "fade"
    );
    for m in meshes {
        println!(
            "{:>10} {:>13} {:>15} {:>15} {:>15} {:>15} {:>13} {:>13}",
            m.triangles,
            m.opened.to_string(),
            m.still.whole.to_string(),
            m.turning.whole.to_string(),
            m.painting.whole.to_string(),
            m.dab.to_string(),
            m.stroke.to_string(),
            m.fade.to_string()
        );
    }
    println!();
    println!(
        "{:>10} {:>9} {:>15} {:>15} {:>15}",
        "of which", "", "window", "commands", "card"
    );
    for m in meshes {
        let states = [
            ("still", &m.still),
            ("turning", &m.turning),
            ("painting", &m.painting),
        ];
        for (name, parts) in states {
            println!(
                "{:>10} {name:>9} {:>15} {:>15} {:>15}",
                m.triangles,
                parts.window.to_string(),
                parts.commands.to_string(),
                parts.card.to_string()
            );
        }
    }
}

fn measure(app: &mut App, thousand: u32) -> Result<Figures, String> {
    let (plan, surface) = ring::of_thousands(thousand)?;
    let (lo, hi) = surface.bounds_mm();
    let triangles = surface.mesh().triangles().len();
    let opened = done(app, |s| s.take_part(plan, Origin::default(), surface))?;
    if part_share(app)? < LEAST_SHARE {
        return Err("the part is not in the picture, so nothing was measured".to_owned());
    }
    session(app, |s| {
        s.view.camera.pitch_deg = 50.0;
        s.view.fit_wanted = true;
    })?;
    (0..WARM_UP).for_each(|_| {
        frame(app);
    });
    let still: Vec<Frame> = in_time().map(|_| frame(app)).collect();
    let mut turning = Vec::new();
    for _ in in_time() {
        session(app, |s| s.view.camera.orbit(egui::vec2(15.0, 0.0)))?;
        turning.push(frame(app));
    }
    let (painting, dab) = paint(app)?;
    let stroke = done(app, Session::end_stroke)?;
    if !session(app, |s| s.doc.as_ref().is_some_and(has_paint))? {
        return Err("the brush missed the part, so painting was not measured".to_owned());
    }
    session(app, |s| {
        s.chosen.region = Some(0);
        s.make_fade();
    })?;
    settle(app);
    let middle_mm = (lo.z + hi.z) / 2.0;
    session(app, |s| s.view.look = Look::Printed)?;
    settle(app);
    let fade = done(app, |s| s.move_stop(0, 1, middle_mm, true))?;
    session(app, |s| s.view.look = Look::Asked)?;
    Ok(Figures {
        triangles,
        opened,
        still: Parts::of(&still),
        turning: Parts::of(&turning),
        painting: Parts::of(&painting),
        dab: Times::of(dab),
        stroke,
        fade,
    })
}

/// Makes a change and waits until it is done.
fn done(app: &mut App, change: impl FnOnce(&mut Session)) -> Result<Done, String> {
    let before = session(app, |s| s.is_drawn() && s.doc.is_some())?;
    let start = Instant::now();
    session(app, change)?;
    if before && session(app, |s| s.is_drawn())? {
        return Err("the part did not change, so nothing was measured".to_owned());
    }
    while !session(app, |s| s.is_drawn())? || is_uploading(app) {
        frame(app);
    }
    let drawn_ms = ms_since(start);
    settle(app);
    Ok(Done {
        drawn_ms,
        told_ms: ms_since(start),
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

/// Paints a long stroke round the ring, one step a frame. Gives the frames, and how long each
/// step of the pointer took to be seen, ms.
fn paint(app: &mut App) -> Result<(Vec<Frame>, Vec<f64>), String> {
    session(app, |s| {
        s.tools.take(Tool::Brush);
        s.tools.set_brush_mm(4.0);
    })?;
    let (mut frames, mut seen) = (Vec::new(), Vec::new());
    let mut moved: VecDeque<Instant> = VecDeque::new();
    for step in in_time() {
        let angle = step as f32 / FRAMES as f32 * std::f32::consts::TAU * 0.9;
        let start = Instant::now();
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
        let picked_ms = ms_since(start);
        moved.push_back(start);
        let mut this = frame(app);
        this.window_ms += picked_ms;
        frames.push(this);
        // Sketches come one after another; a movement is seen with the first frame after its own.
        let behind = session(app, |s| s.sketches_behind())?;
        while moved.len() > behind {
            seen.extend(moved.pop_front().map(ms_since));
        }
    }
    Ok((frames, seen))
}

fn session<T>(app: &mut App, change: impl FnOnce(&mut Session) -> T) -> Result<T, String> {
    let mut desk = app
        .world_mut()
        .get_non_send_mut::<Desk>()
        .ok_or("the session is gone")?;
    Ok(change(&mut desk.session))
}

/// The picture as it came back from the card.
#[derive(Resource, Default)]
struct Seen(Option<Image>);

/// The share of the stage that shows the part: that is not of the colour in the stage's corner.
fn part_share(app: &mut App) -> Result<f32, String> {
    let drawn = app.world().get_resource::<Drawn>().map(Drawn::target);
    let drawn = drawn.ok_or("there is no picture to draw into")?;
    let keep = |captured: On<ScreenshotCaptured>, mut seen: ResMut<Seen>| {
        seen.0 = Some(captured.image.clone());
    };
    app.world_mut().spawn(Screenshot(drawn)).observe(keep);
    for _ in 0..MOST_FRAMES_TO_SEE {
        frame(app);
        let seen = app.world_mut().get_resource_mut::<Seen>();
        if let Some(image) = seen.and_then(|mut seen| seen.0.take()) {
            let scale = app
                .world()
                .get_resource::<Canvas>()
                .map_or(1.0, |c| c.scale);
            let stage = session(app, |s| s.view.stage)?;
            return Ok(share_in(&image, stage * scale));
        }
    }
    Err("the picture does not come back from the card".to_owned())
}

fn share_in(image: &Image, stage: egui::Rect) -> f32 {
    let width = image.width() as usize;
    let pixel = |x: f32, y: f32| {
        let at = (y as usize * width + x as usize) * 4;
        image.data.as_deref().and_then(|data| data.get(at..at + 3))
    };
    let corner = pixel(stage.left() + 6.0, stage.top() + 6.0);
    let differs = |at: Option<&[u8]>| match (at, corner) {
        (Some(a), Some(b)) => a.iter().zip(b).any(|(a, b)| a.abs_diff(*b) > 12),
        _ => false,
    };
    let (mut part, mut all) = (0, 0);
    for y in 6..(stage.height() as usize).saturating_sub(6) {
        for x in 6..(stage.width() as usize).saturating_sub(6) {
            all += 1;
            let at = pixel(stage.left() + x as f32, stage.top() + y as f32);
            part += usize::from(differs(at));
        }
    }
    part as f32 / all.max(1) as f32
}

/// Draws until no work is left.
fn settle(app: &mut App) {
    loop {
        frame(app);
        let busy = is_uploading(app);
        let working = app
            .world()
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

/// Whether pieces are on their way to the card.
fn is_uploading(app: &App) -> bool {
    let world = app.world();
    let compiling = world.get_resource::<Compiling>();
    world.get_resource::<Uploads>().is_some_and(|u| u.busy) || compiling.is_some_and(Compiling::any)
}

/// Draws a frame to its end on the card and tells where its time went.
fn frame(app: &mut App) -> Frame {
    let start = Instant::now();
    app.update();
    let commanded = Instant::now();
    if let Some(device) = app.world().get_resource::<RenderDevice>() {
        // A lost device shows as an error in the next frame.
        let _ = device.poll(PollType::wait_indefinitely());
    }
    let window = app.world().get_resource::<WindowDone>().and_then(|d| d.0);
    let window = window.unwrap_or(commanded);
    let ms = |from: Instant, to: Instant| to.saturating_duration_since(from).as_secs_f64() * 1000.0;
    Frame {
        window_ms: ms(start, window),
        commands_ms: ms(window, commanded),
        card_ms: ms(commanded, Instant::now()),
    }
}

fn ms_since(start: Instant) -> f64 {
    start.elapsed().as_secs_f64() * 1000.0
}
