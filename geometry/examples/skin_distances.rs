//! Distances along a mesh, for the check against an outside library: reads
//! `{"vertices": […], "triangles": […], "sources": [[x, y, z], …]}` from standard input, and
//! writes for each source the distances at all vertices, mm.

use std::process::ExitCode;
use std::sync::Arc;

use geometry::field::PreparedField;
use geometry::mask::Stroke;
use geometry::{DVec3, Field, Mesh, Progress, Surface, SurfacePoint};

#[derive(serde::Deserialize)]
struct Question {
    vertices: Vec<[f64; 3]>,
    triangles: Vec<[u32; 3]>,
    sources: Vec<[f64; 3]>,
}

fn main() -> ExitCode {
    match answer() {
        Ok(answer) => {
            println!("{answer}");
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}

fn answer() -> Result<String, Box<dyn std::error::Error>> {
    let question: Question = serde_json::from_reader(std::io::stdin().lock())?;
    let vertices = question.vertices.into_iter().map(DVec3::from).collect();
    let surface = Surface::new(Arc::new(Mesh::new(vertices, question.triangles)?));
    let mesh = surface.mesh();
    let mut facet_of = vec![0; mesh.vertices().len()];
    for (facet, triangle) in (0..).zip(mesh.triangles()) {
        for &vertex in triangle {
            if let Some(known) = facet_of.get_mut(vertex as usize) {
                *known = facet;
            }
        }
    }
    let mut answers = Vec::new();
    for source in question.sources {
        let stroke = Stroke {
            dabs_mm: vec![DVec3::from(source)],
            radius_mm: 1.0,
            reach_mm: None,
        };
        let field = PreparedField::new(&Field::FromStroke(stroke), &surface, &Progress::new())?;
        let at = |(&point_mm, &facet)| field.at(SurfacePoint { point_mm, facet });
        let distances: Vec<f64> = mesh.vertices().iter().zip(&facet_of).map(at).collect();
        answers.push(distances);
    }
    Ok(serde_json::to_string(&answers)?)
}
