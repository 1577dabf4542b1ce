//! Painting on the part.

use geometry::{DVec3, Mask};
use plan::BrushStroke;
use tintfall_viewer::commands::Command;
use tintfall_viewer::model::mirror::Mirror;
use tintfall_viewer::model::skin::SkinUpdate;
use tintfall_viewer::model::tool::Tool;

use crate::bench::*;

#[test]
fn a_stroke_makes_a_region_and_the_next_one_joins_it() {
    let mut harness = bench(None);
    click(&mut harness, "Brush");
    assert_eq!(harness.state().tools.tool, Tool::Brush);
    let face = |x, z| DVec3::new(x, -20.0, z);
    let path = line(
        on_stage(&harness, face(-8.0, 20.0)),
        on_stage(&harness, face(8.0, 24.0)),
    );
    drag(&mut harness, &path);
    let regions = &plan_of(&harness).regions;
    assert_eq!(regions.len(), 2);
    assert_eq!(regions[1].name, "Area");
    assert!(matches!(regions[1].brush[..], [BrushStroke::Paint(_)]));

    let path = line(
        on_stage(&harness, face(-8.0, 40.0)),
        on_stage(&harness, face(8.0, 40.0)),
    );
    drag(&mut harness, &path);
    assert_eq!(plan_of(&harness).regions[1].brush.len(), 2);

    click(&mut harness, "Erase");
    drag(&mut harness, &path);
    assert!(matches!(
        plan_of(&harness).regions[1].brush[2],
        BrushStroke::Erase(_)
    ));
}

#[test]
fn a_mirrored_stroke_is_one_step_of_undo() {
    let mut harness = bench(None);
    click(&mut harness, "Brush");
    click(&mut harness, "Mirror");
    let face = |x, z| DVec3::new(x, -20.0, z);
    let path = line(
        on_stage(&harness, face(5.0, 20.0)),
        on_stage(&harness, face(10.0, 20.0)),
    );
    drag(&mut harness, &path);
    let brush = &plan_of(&harness).regions[1].brush;
    assert_eq!(brush.len(), 2);
    let sides: Vec<f64> = brush.iter().map(|t| t.stroke().dabs_mm[0].x).collect();
    assert!((sides[0] + sides[1]).abs() < 1e-6, "{sides:?}");
    click(&mut harness, "Undo");
    assert_eq!(plan_of(&harness).regions.len(), 1);
}

#[test]
fn a_stroke_is_repeated_round_the_part() {
    let mut harness = bench(None);
    click(&mut harness, "Brush");
    harness
        .state_mut()
        .apply(Command::Mirror(Mirror::Around(4)));
    let face = |x, z| DVec3::new(x, -20.0, z);
    let path = line(
        on_stage(&harness, face(5.0, 20.0)),
        on_stage(&harness, face(10.0, 20.0)),
    );
    drag(&mut harness, &path);
    // A block of four equal sides has it on each of them.
    let brush = &plan_of(&harness).regions[1].brush;
    let begins: Vec<DVec3> = brush.iter().map(|t| t.stroke().dabs_mm[0]).collect();
    assert_eq!(begins.len(), 4);
    let x = begins[0].x;
    let expected = [(x, -20.0), (20.0, x), (-x, 20.0), (-20.0, -x)];
    for (begin, (x, y)) in begins.iter().zip(expected) {
        assert!(
            (begin.x - x).abs() < 1e-6 && (begin.y - y).abs() < 1e-6,
            "{begin}"
        );
    }
    click(&mut harness, "Undo");
    assert_eq!(plan_of(&harness).regions.len(), 1);
}

#[test]
fn the_base_region_is_not_erased() {
    let mut harness = bench(None);
    click(&mut harness, "Erase");
    let at = on_stage(&harness, DVec3::new(0.0, -20.0, 30.0));
    drag(&mut harness, &[at, at]);
    assert_eq!(plan_of(&harness).regions.len(), 1);
    let said = harness.state().notices.shown();
    assert!(
        said.iter()
            .any(|n| n.text.contains("Choose another region"))
    );
}

#[test]
fn two_clicks_make_a_band_and_a_fill_covers_a_face() {
    let mut harness = bench(None);
    click(&mut harness, "Band");
    for z in [10.0, 25.0] {
        let at = on_stage(&harness, DVec3::new(0.0, -20.0, z));
        drag(&mut harness, &[at, at]);
    }
    let Mask::Band { from_mm, to_mm } = plan_of(&harness).regions[1].mask else {
        panic!("no band");
    };
    assert!((from_mm - 10.0).abs() < 0.5 && (to_mm - 25.0).abs() < 0.5);

    harness.state_mut().tools.new_area = true;
    click(&mut harness, "Fill");
    let at = on_stage(&harness, DVec3::new(5.0, -20.0, 40.0));
    drag(&mut harness, &[at, at]);
    let mask = &plan_of(&harness).regions[2].mask;
    assert!(
        matches!(mask, Mask::Any(any) if matches!(any[..], [Mask::Crease { .. }])),
        "{mask:?}"
    );
}

#[test]
fn what_a_wide_brush_does_is_sketched_while_the_stroke_is_drawn() {
    let mut harness = bench(None);
    click(&mut harness, "Brush");
    harness.state_mut().tools.set_brush_mm(8.0);
    let at = |x| DVec3::new(x, -20.0, 30.0);
    let from = on_stage(&harness, at(-8.0));
    let to = on_stage(&harness, at(8.0));
    let session = harness.state_mut();
    session.begin_stroke(from);
    session.go_on_stroke(to);
    assert!(session.sketches_behind() > 0, "no frame waits for it");
    session.finish_work();
    let mut drawn = 0;
    while let Some(update) = session.next_skin_update() {
        if let SkinUpdate::Drawn(mesh, _) = update {
            drawn += mesh.triangles();
        }
    }
    assert!(drawn > 10, "{drawn}");
    session.end_stroke();
    settle(&mut harness);
    assert_eq!(plan_of(&harness).regions.len(), 2);
}
