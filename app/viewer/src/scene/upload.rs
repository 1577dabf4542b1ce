//! From the session's numbers to meshes and textures on the graphics card.

use bevy::asset::RenderAssetUsages;
use bevy::camera::visibility::RenderLayers;
use bevy::image::Image;
use bevy::mesh::{Indices, Mesh, PrimitiveTopology};
use bevy::prelude::*;
use bevy::render::render_resource::{Extent3d, TextureDimension, TextureFormat};

use super::camera::vec3;
use super::desk::{Desk, PLATE_LAYER};
use super::material::{
    ALONG, NO_CUT, NOWHERE_MM, PlateMaterial, PlateUniform, REGION, SkinMaterial, SkinUniform,
};
use crate::model::camera::Lens;
use crate::model::skin::{RAMP_TEXELS, RampRow, RampTable, SkinMesh, SkinUpdate};
use crate::theme::Palette;
use crate::{model::view::Look, session::Session};

/// Pieces sent to the card in one frame, some 7 MB: the rest waits, so that no frame takes long.
const PIECES_A_FRAME: usize = 64;

/// A preview stands off the skin by this many pixels, so that it is not speckled by it.
const STAND_OFF_PIXELS: f64 = 0.6;

/// How strongly what would be painted covers what is there.
const HOVER_OPACITY: f32 = 0.75;

/// How far the part fades into the ground while its strands are followed.
const DIM: f32 = 0.6;

/// What is on the card.
#[derive(Resource, Default)]
pub(super) struct Uploads {
    skin: Handle<SkinMaterial>,
    hover: Handle<SkinMaterial>,
    drawn: Handle<SkinMaterial>,
    face: Handle<SkinMaterial>,
    plate: Handle<PlateMaterial>,
    pieces: Vec<Option<Entity>>,
    hover_entity: Option<Entity>,
    drawn_entities: Vec<Entity>,
    face_entity: Option<Entity>,
    plate_entity: Option<Entity>,
    plate_half_mm: Vec2,
    /// Frames in which something was uploaded.
    pub busy: bool,
}

/// Makes the materials.
pub(super) fn set_up(
    mut uploads: ResMut<Uploads>,
    mut skins: ResMut<Assets<SkinMaterial>>,
    mut plates: ResMut<Assets<PlateMaterial>>,
    mut images: ResMut<Assets<Image>>,
) {
    let grey = RampTable {
        rows: vec![RampRow::plain([0.5; 3])],
    };
    let mut skin = |over| {
        skins.add(SkinMaterial {
            uniform: SkinUniform::default(),
            ramps: images.add(ramp_image(&grey)),
            over,
        })
    };
    uploads.skin = skin(false);
    uploads.hover = skin(true);
    uploads.drawn = skin(false);
    uploads.face = skin(false);
    uploads.plate = plates.add(PlateMaterial {
        uniform: PlateUniform::default(),
    });
}

fn ramp_image(table: &RampTable) -> Image {
    let bytes = table
        .texels()
        .iter()
        .flat_map(|t| t.to_le_bytes())
        .collect();
    Image::new(
        Extent3d {
            width: RAMP_TEXELS as u32 + 1,
            height: table.rows.len().max(1) as u32,
            depth_or_array_layers: 1,
        },
        TextureDimension::D2,
        bytes,
        TextureFormat::Rgba32Float,
        RenderAssetUsages::RENDER_WORLD,
    )
}

fn bevy_mesh(skin: SkinMesh) -> Mesh {
    Mesh::new(
        PrimitiveTopology::TriangleList,
        RenderAssetUsages::RENDER_WORLD,
    )
    .with_inserted_attribute(Mesh::ATTRIBUTE_POSITION, skin.positions)
    .with_inserted_attribute(Mesh::ATTRIBUTE_NORMAL, skin.normals)
    .with_inserted_attribute(ALONG, skin.along_mm)
    .with_inserted_attribute(REGION, skin.region)
    .with_inserted_indices(Indices::U32(skin.indices))
}

/// Takes the session's changes to the card.
pub(super) fn take_updates(
    mut commands: Commands,
    mut desk: NonSendMut<Desk>,
    mut uploads: ResMut<Uploads>,
    mut meshes: ResMut<Assets<Mesh>>,
    mut images: ResMut<Assets<Image>>,
    mut skins: ResMut<Assets<SkinMaterial>>,
) {
    let mut pieces = 0;
    uploads.busy = false;
    while pieces < PIECES_A_FRAME {
        let Some(update) = desk.session.next_skin_update() else {
            break;
        };
        uploads.busy = true;
        match update {
            SkinUpdate::Pieces(count) => {
                for entity in uploads.pieces.drain(..).flatten() {
                    commands.entity(entity).despawn();
                }
                uploads.pieces = vec![None; count];
            }
            SkinUpdate::Piece(index, mesh) => {
                pieces += 1;
                put_piece(&mut commands, &mut uploads, &mut meshes, index, mesh);
            }
            SkinUpdate::Ramps(table) => {
                let of = [&uploads.skin, &uploads.face];
                set_ramps(&of, &table, &mut images, &mut skins);
            }
            SkinUpdate::Hover(mesh, colour) => {
                set_ramps(&[&uploads.hover], &plain(colour), &mut images, &mut skins);
                if let Some(entity) = uploads.hover_entity.take() {
                    commands.entity(entity).despawn();
                }
                let material = &uploads.hover;
                uploads.hover_entity = spawn_skin(&mut commands, &mut meshes, material, mesh);
            }
            SkinUpdate::Drawn(mesh, colour) => {
                if uploads.drawn_entities.is_empty() {
                    set_ramps(&[&uploads.drawn], &plain(colour), &mut images, &mut skins);
                }
                let material = &uploads.drawn;
                let entity = spawn_skin(&mut commands, &mut meshes, material, mesh);
                uploads.drawn_entities.extend(entity);
            }
            SkinUpdate::DrawnGone => {
                for entity in uploads.drawn_entities.drain(..) {
                    commands.entity(entity).despawn();
                }
            }
            SkinUpdate::Face(mesh) => {
                if let Some(entity) = uploads.face_entity.take() {
                    commands.entity(entity).despawn();
                }
                let material = &uploads.face;
                uploads.face_entity = spawn_skin(&mut commands, &mut meshes, material, mesh);
            }
        }
    }
}

/// A table of one colour.
fn plain(colour: [f32; 3]) -> RampTable {
    RampTable {
        rows: vec![RampRow::plain(colour)],
    }
}

fn set_ramps(
    materials: &[&Handle<SkinMaterial>],
    table: &RampTable,
    images: &mut Assets<Image>,
    skins: &mut Assets<SkinMaterial>,
) {
    // A new image, and with it a new binding: the material would not see an old one change.
    let image = images.add(ramp_image(table));
    for material in materials {
        if let Some(mut skin) = skins.get_mut(*material) {
            skin.ramps = image.clone();
        }
    }
}

fn put_piece(
    commands: &mut Commands,
    uploads: &mut Uploads,
    meshes: &mut Assets<Mesh>,
    index: usize,
    mesh: SkinMesh,
) {
    let Some(slot) = uploads.pieces.get_mut(index) else {
        return;
    };
    if let Some(entity) = slot.take() {
        commands.entity(entity).despawn();
    }
    *slot = spawn_skin(commands, meshes, &uploads.skin, mesh);
}

fn spawn_skin(
    commands: &mut Commands,
    meshes: &mut Assets<Mesh>,
    material: &Handle<SkinMaterial>,
    mesh: SkinMesh,
) -> Option<Entity> {
    if mesh.is_empty() {
        return None;
    }
    let parts = (
        Mesh3d(meshes.add(bevy_mesh(mesh))),
        MeshMaterial3d(material.clone()),
    );
    Some(commands.spawn(parts).id())
}

/// Sets what the shaders are told, if it changed.
pub(super) fn set_uniforms(
    mut commands: Commands,
    desk: NonSend<Desk>,
    mut uploads: ResMut<Uploads>,
    mut skins: ResMut<Assets<SkinMaterial>>,
    mut plates: ResMut<Assets<PlateMaterial>>,
    mut meshes: ResMut<Assets<Mesh>>,
) {
    let session = &desk.session;
    let skin = skin_uniform(session);
    set_skin(&mut skins, &uploads.skin, skin);
    let drawn = SkinUniform {
        stand_off_mm: (session.view.camera.mm_per_point * STAND_OFF_PIXELS) as f32,
        lift_region: -1,
        tint: Vec4::ZERO,
        ..skin
    };
    set_skin(&mut skins, &uploads.drawn, drawn);
    let face = SkinUniform {
        cut: NO_CUT,
        mark: Vec4::ZERO,
        is_face: 1,
        ..skin
    };
    set_skin(&mut skins, &uploads.face, face);
    let hover = SkinUniform {
        opacity: HOVER_OPACITY,
        stand_off_mm: 2.0 * drawn.stand_off_mm,
        mark: Vec4::ZERO,
        ..drawn
    };
    set_skin(&mut skins, &uploads.hover, hover);
    plate(
        &mut commands,
        session,
        &mut uploads,
        &mut plates,
        &mut meshes,
    );
}

fn set_skin(skins: &mut Assets<SkinMaterial>, handle: &Handle<SkinMaterial>, to: SkinUniform) {
    let differs = skins.get(handle).is_some_and(|s| s.uniform != to);
    if differs && let Some(mut skin) = skins.get_mut(handle) {
        skin.uniform = to;
    }
}

pub(super) fn linear(colour: egui::Color32) -> Vec4 {
    let [r, g, b, a] = colour.to_srgba_unmultiplied();
    Color::srgba_u8(r, g, b, a).to_linear().to_vec4()
}

fn skin_uniform(session: &Session) -> SkinUniform {
    let view = &session.view;
    let palette = Palette::of(session.settings.appearance);
    let axes = view.camera.axes();
    let light = -axes.forward * 0.78 - axes.right * 0.38 + axes.up * 0.5;
    let eye = match view.camera.lens {
        Lens::Parallel => vec3(-axes.forward).extend(0.0),
        Lens::Perspective => vec3(view.camera.eye_mm(view.stage, session.reach_mm())).extend(1.0),
    };
    let tint = session.band_in_the_making();
    let (from, to) = tint.map_or((NOWHERE_MM, NOWHERE_MM), |(f, t)| (f as f32, t as f32));
    let accent = linear(palette.accent);
    let print = session.print_in_sight().map(|p| p.extent_mm);
    SkinUniform {
        light: vec3(light.normalize()).extend(0.0),
        eye,
        cut: session.section_plane().map_or(NO_CUT, |plane| {
            // A flat facet in the plane is left.
            vec3(plane.normal()).extend(plane.at_mm() as f32 + 1e-4)
        }),
        guide_mm: session.marked_height_mm().map_or(NOWHERE_MM, |h| h as f32),
        tint_from_mm: from,
        tint_to_mm: to,
        tint: accent.truncate().extend(0.5),
        mark: accent.truncate().extend(0.9),
        face: linear(palette.cut_face),
        lift_region: match (view.look, view.lift_region) {
            (Look::Asked | Look::Printed, Some(region)) => region as i32,
            _ => -1,
        },
        opacity: 1.0,
        stand_off_mm: 0.0,
        pixel_mm: view.camera.mm_per_point as f32,
        print_from_mm: print.map_or(0.0, |p| p.0 as f32),
        print_to_mm: print.map_or(1.0, |p| p.1 as f32),
        by_height: i32::from(print.is_some()),
        dim: if session.follow_view().is_some() {
            DIM
        } else {
            0.0
        },
        is_face: 0,
    }
}

fn plate(
    commands: &mut Commands,
    session: &Session,
    uploads: &mut Uploads,
    plates: &mut Assets<PlateMaterial>,
    meshes: &mut Assets<Mesh>,
) {
    let half = session.plate_half_mm();
    let half = Vec2::new(half.0 as f32, half.1 as f32);
    if uploads.plate_half_mm != half {
        if let Some(entity) = uploads.plate_entity.take() {
            commands.entity(entity).despawn();
        }
        if half.x > 0.0 {
            let mesh = meshes.add(plate_mesh(half));
            let material = MeshMaterial3d(uploads.plate.clone());
            let layer = RenderLayers::layer(PLATE_LAYER);
            uploads.plate_entity = Some(commands.spawn((Mesh3d(mesh), material, layer)).id());
        }
        uploads.plate_half_mm = half;
    }
    let palette = Palette::of(session.settings.appearance);
    let uniform = PlateUniform {
        fill: linear(palette.plate),
        line: linear(palette.plate_line),
        half_mm: half.extend(0.0).extend(0.0),
    };
    let differs = plates
        .get(&uploads.plate)
        .is_some_and(|p| p.uniform != uniform);
    if differs && let Some(mut plate) = plates.get_mut(&uploads.plate) {
        plate.uniform = uniform;
    }
}

fn plate_mesh(half: Vec2) -> Mesh {
    // A hair below the bed, so that the part's underside hides it.
    let z = -0.02;
    let corner = |x: f32, y: f32| [x * half.x, y * half.y, z];
    let positions = vec![
        corner(-1.0, -1.0),
        corner(1.0, -1.0),
        corner(1.0, 1.0),
        corner(-1.0, -1.0),
        corner(1.0, 1.0),
        corner(-1.0, 1.0),
    ];
    Mesh::new(
        PrimitiveTopology::TriangleList,
        RenderAssetUsages::RENDER_WORLD,
    )
    .with_inserted_attribute(Mesh::ATTRIBUTE_POSITION, positions)
}
