//! Tells where a finished part is found in a photograph, for checks from outside: the camera's
//! focal length and distortion, the marks' corners, and points of the part.
//!
//! Arguments: the plan, the photograph. Lines: `camera focal_px k1 width height`,
//! `corner x y u v` (mm on the card, px), `part x_mm y_mm turn scale`, `point x y up u v`.
#![allow(clippy::unwrap_used, reason = "a probe that cannot go on should stop")]

use std::path::Path;

use calibrate::finished::posed::Posed;
use calibrate::finished::{Asked, Expected, InPhoto, Rest};
use geometry::Progress;
use photograph::light::Reference;
use photograph::{Photo, card};
use plan::{AsPrinted, Schedule};
use project::job::Job;

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let [plan, file] = words.as_slice() else {
        eprintln!("give the plan and the photograph");
        std::process::exit(2);
    };
    let progress = Progress::new();
    let job = Job::open(Path::new(plan), &progress).unwrap();
    let painted = &job.painted;
    let schedule = Schedule::new(painted, &progress).unwrap();
    let printed = AsPrinted::new(painted.plan(), painted.model(), &schedule, &progress).unwrap();
    let expected = Expected {
        painted,
        schedule: &schedule,
        printed: &printed,
    };
    let references = [0.9, 0.18, 0.04].into_iter().enumerate();
    let references = references.map(|(place, reflectance)| Reference { place, reflectance });
    let asked = Asked {
        references: references.collect(),
        rest: Rest::Standing,
        turn_deg: None,
        every_mm: 1.0,
    };
    let photo = Photo::read(&std::fs::read(file).unwrap()).unwrap();
    let part = InPhoto::read(&photo, &expected, &asked, &progress).unwrap();
    let view = &part.view;
    let (width, height) = (photo.width(), photo.height());
    println!("camera {} {} {width} {height}", view.focal_px, view.k1);
    for mark in &part.marks {
        for ((x, y), (u, v)) in card::mark_corners(mark.index).into_iter().zip(mark.corners) {
            println!("corner {x} {y} {u} {v}");
        }
    }
    let pose = part.fitted.pose;
    println!(
        "part {} {} {} {}",
        pose.x_mm, pose.y_mm, pose.turn, pose.scale
    );
    let posed = Posed {
        view,
        rested: &part.rested,
        pose,
    };
    let vertices = painted.surface().mesh().vertices();
    for vertex in vertices.iter().step_by(vertices.len().div_ceil(300).max(1)) {
        let [x, y, up] = posed.place(*vertex);
        let (u, v) = view.project([x, y, up]).unwrap();
        println!("point {x} {y} {up} {u} {v}");
    }
}
