//! How long the work behind the window takes, without a card and without frames: opening a ring,
//! a stroke round it, and a stop of a fade that is moved.
//!
//! `cargo run --release -p tintfall-viewer --no-default-features --example work_study -- 1000`
//! takes thousands of facets. `RAYON_NUM_THREADS` sets how many cores share the work.

use std::process::ExitCode;
use std::time::{Duration, Instant};

use egui::{Pos2, pos2, vec2};
use geometry::DVec3;
use tintfall_viewer::model::document::Origin;
use tintfall_viewer::model::ring;
use tintfall_viewer::model::skin::SkinUpdate;
use tintfall_viewer::model::tool::Tool;
use tintfall_viewer::model::view::Look;
use tintfall_viewer::session::Session;

/// Steps of the stroke.
const STEPS: usize = 120;

fn main() -> ExitCode {
    let sizes: Result<Vec<u32>, _> = std::env::args().skip(1).map(|a| a.parse()).collect();
    let sizes = match sizes {
        Ok(sizes) if sizes.is_empty() => vec![100, 1000],
        Ok(sizes) => sizes,
        Err(why) => {
            eprintln!("{why}; name thousands of facets, like 1000");
            return ExitCode::FAILURE;
        }
    };
    println!("milliseconds until the part is drawn / until its layers are told (of all cores);");
    println!("pieces sent");
    for thousand in sizes {
        if let Err(why) = study(thousand) {
            eprintln!("{why}");
            return ExitCode::FAILURE;
        }
    }
    ExitCode::SUCCESS
}

fn study(thousand: u32) -> Result<(), String> {
    let (plan, surface) = ring::of_thousands(thousand)?;
    let (low, high) = surface.bounds_mm();
    println!("{} facets", surface.mesh().triangles().len());
    let mut session = Session::new(None);
    let stage = egui::Rect::from_min_size(Pos2::ZERO, vec2(900.0, 700.0));
    done("opened", &mut session, |s| {
        let begun = Instant::now();
        s.take_part(plan, Origin::default(), surface);
        println!("  of which made ready {:.0}", ms(begun));
        s.view.stage = stage;
        s.view.camera.pitch_deg = 50.0;
        s.view.camera.fit(stage, (low, high));
    });
    session.tools.take(Tool::Brush);
    session.tools.set_brush_mm(4.0);
    for step in 0..STEPS {
        let angle = step as f64 / STEPS as f64 * std::f64::consts::TAU * 0.9;
        let point = DVec3::new(40.0 * angle.cos(), 40.0 * angle.sin(), high.z);
        let at = session.view.camera.project(stage, point);
        let at = at.unwrap_or(pos2(0.0, 0.0));
        match step {
            0 => session.begin_stroke(at),
            _ => session.go_on_stroke(at),
        }
    }
    while session.sketches_behind() > 0 {
        session.tick(Instant::now());
    }
    done("a stroke", &mut session, Session::end_stroke);
    session.chosen.region = Some(0);
    let middle_mm = 0.5 * (low.z + high.z);
    done("its stop moved", &mut session, |s| {
        s.move_stop(0, 1, middle_mm, true);
    });
    done("as printed shown", &mut session, |s| {
        s.view.look = Look::Printed
    });
    done("its stop moved, as printed", &mut session, |s| {
        s.move_stop(0, 1, 0.9 * middle_mm, true);
    });
    Ok(())
}

/// Makes a change and waits until nothing is left to do.
fn done(what: &str, session: &mut Session, change: impl FnOnce(&mut Session)) {
    while session.next_skin_update().is_some() {}
    let (begun, busy) = (Instant::now(), busy_ms());
    change(session);
    let (mut drawn, mut pieces) = (None, 0);
    let since = || (ms(begun), busy_ms() - busy);
    loop {
        session.tick(Instant::now());
        while let Some(update) = session.next_skin_update() {
            pieces += usize::from(matches!(update, SkinUpdate::Piece(..)));
        }
        while session.next_strand_update().is_some() {}
        if session.is_drawn() {
            drawn.get_or_insert_with(since);
        }
        if !session.is_working() {
            break;
        }
        std::thread::sleep(Duration::from_millis(1));
    }
    let told = since();
    let ((drawn, drawn_busy), (told, told_busy)) = (drawn.unwrap_or(told), told);
    println!(
        "  {what}: {drawn:.0} ({drawn_busy:.0}) / {told:.0} ({told_busy:.0}), {pieces} pieces"
    );
}

fn ms(begun: Instant) -> f64 {
    begun.elapsed().as_secs_f64() * 1000.0
}

/// Processor time that this program took so far, where the system tells it as Linux does: in
/// hundredths of a second; 0 elsewhere.
fn busy_ms() -> f64 {
    let told = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields = told.rsplit(')').next().unwrap_or_default();
    let numbers = fields.split_whitespace().skip(11).take(2);
    numbers.filter_map(|n| n.parse::<f64>().ok()).sum::<f64>() * 10.0
}
