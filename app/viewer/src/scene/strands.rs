//! Strands of laid plastic on the graphics card: the layer that is followed, up to a move, and
//! the whole layer beneath it, dimmed. Stepping by a move only sets a number. The bodies of
//! purge blocks are drawn as they are.

use bevy::asset::{RenderAssetUsages, load_internal_asset, uuid_handle};
use bevy::mesh::{
    Indices, Mesh, MeshVertexAttribute, MeshVertexBufferLayoutRef, PrimitiveTopology,
    VertexAttributeValues,
};
use bevy::pbr::{MaterialPipeline, MaterialPipelineKey};
use bevy::prelude::*;
use bevy::render::render_resource::{
    AsBindGroup, RenderPipelineDescriptor, ShaderType, SpecializedMeshPipelineError, VertexFormat,
};
use bevy::shader::{Shader, ShaderRef};

use super::camera::vec3;
use super::desk::Desk;
use super::material::lay_out;
use super::upload::{Uploads, linear};
use crate::model::strands::{StrandMesh, StrandUpdate};
use crate::theme::Palette;

const SHADER: Handle<Shader> = uuid_handle!("3f6f5b0e-4f0c-4f43-9d0e-6f0a6f9d1a03");

/// The colour of a corner, sRGB.
const COLOUR: MeshVertexAttribute =
    MeshVertexAttribute::new("StrandColour", 0x7157_0003, VertexFormat::Unorm8x4);

/// The move that a corner belongs to.
const NUMBER: MeshVertexAttribute =
    MeshVertexAttribute::new("StrandMove", 0x7157_0004, VertexFormat::Uint32);

/// How far the layer beneath fades into the ground.
const BENEATH: f32 = 0.55;

/// What the shader is told; it says what each field means.
#[derive(Clone, Copy, Debug, PartialEq, Default, ShaderType)]
#[allow(missing_docs, reason = "the shader says what each field means")]
pub(super) struct StrandUniform {
    pub light: Vec4,
    pub ground: Vec4,
    pub up_to: u32,
    pub dim: f32,
    pub rest: Vec2,
}

/// Laid plastic.
#[derive(Asset, TypePath, AsBindGroup, Debug, Clone)]
pub(super) struct StrandMaterial {
    /// See [`StrandUniform`].
    #[uniform(0)]
    pub uniform: StrandUniform,
}

impl Material for StrandMaterial {
    fn vertex_shader() -> ShaderRef {
        SHADER.into()
    }

    fn fragment_shader() -> ShaderRef {
        SHADER.into()
    }

    fn enable_prepass() -> bool {
        false
    }

    fn enable_shadows() -> bool {
        false
    }

    fn specialize(
        _pipeline: &MaterialPipeline,
        descriptor: &mut RenderPipelineDescriptor,
        layout: &MeshVertexBufferLayoutRef,
        _key: MaterialPipelineKey<Self>,
    ) -> Result<(), SpecializedMeshPipelineError> {
        let corners = [
            Mesh::ATTRIBUTE_POSITION,
            Mesh::ATTRIBUTE_NORMAL,
            COLOUR,
            NUMBER,
        ];
        // Ribbons have no underside.
        lay_out(descriptor, layout, &corners, None)
    }
}

/// One layer on the card.
#[derive(Default)]
struct Drawn {
    material: Handle<StrandMaterial>,
    entity: Option<Entity>,
}

/// What is on the card.
#[derive(Resource, Default)]
pub(super) struct Strands {
    layer: Drawn,
    beneath: Drawn,
    blocks: Drawn,
}

/// Adds the material and its shader.
pub(super) fn add_material(app: &mut App) {
    load_internal_asset!(app, SHADER, "strand.wgsl", Shader::from_wgsl);
    app.add_plugins(MaterialPlugin::<StrandMaterial>::default());
}

/// Makes the materials.
pub(super) fn set_up(mut strands: ResMut<Strands>, mut materials: ResMut<Assets<StrandMaterial>>) {
    let mut plain = || {
        materials.add(StrandMaterial {
            uniform: StrandUniform::default(),
        })
    };
    strands.layer.material = plain();
    strands.beneath.material = plain();
    strands.blocks.material = plain();
}

fn bevy_mesh(strands: &StrandMesh) -> Mesh {
    let colours = VertexAttributeValues::Unorm8x4(strands.colours.clone());
    Mesh::new(
        PrimitiveTopology::TriangleList,
        RenderAssetUsages::RENDER_WORLD,
    )
    .with_inserted_attribute(Mesh::ATTRIBUTE_POSITION, strands.positions.clone())
    .with_inserted_attribute(Mesh::ATTRIBUTE_NORMAL, strands.normals.clone())
    .with_inserted_attribute(COLOUR, colours)
    .with_inserted_attribute(NUMBER, strands.moves.clone())
    .with_inserted_indices(Indices::U32(strands.indices.clone()))
}

/// Takes the session's changes to the card.
pub(super) fn take_updates(
    mut commands: Commands,
    mut desk: NonSendMut<Desk>,
    mut strands: ResMut<Strands>,
    mut uploads: ResMut<Uploads>,
    mut meshes: ResMut<Assets<Mesh>>,
) {
    while let Some(update) = desk.session.next_strand_update() {
        uploads.busy = true;
        let (drawn, mesh) = match update {
            StrandUpdate::Layer(mesh) => (&mut strands.layer, mesh),
            StrandUpdate::Beneath(mesh) => (&mut strands.beneath, mesh),
            StrandUpdate::Blocks(mesh) => (&mut strands.blocks, mesh),
        };
        if let Some(entity) = drawn.entity.take() {
            commands.entity(entity).despawn();
        }
        let mesh = mesh.filter(|m| !m.indices.is_empty());
        drawn.entity = mesh.map(|mesh| {
            let parts = (
                Mesh3d(meshes.add(bevy_mesh(&mesh))),
                MeshMaterial3d(drawn.material.clone()),
            );
            commands.spawn(parts).id()
        });
    }
}

/// Sets what the shader is told, if it changed.
pub(super) fn set_uniforms(
    desk: NonSend<Desk>,
    strands: Res<Strands>,
    mut materials: ResMut<Assets<StrandMaterial>>,
) {
    let session = &desk.session;
    let view = session.follow_view();
    if view.is_none() && strands.blocks.entity.is_none() {
        return;
    }
    let palette = Palette::of(session.settings.appearance);
    // Steeper than the skin's, so that the round of each strand shows from above too.
    let axes = session.view.camera.axes();
    let light = -axes.forward * 0.62 - axes.right * 0.5 + axes.up * 0.6;
    let whole = StrandUniform {
        light: vec3(light.normalize()).extend(0.0),
        ground: linear(palette.cut_face),
        up_to: u32::MAX,
        dim: 0.0,
        rest: Vec2::ZERO,
    };
    let layer = StrandUniform {
        up_to: view.map_or(u32::MAX, |view| view.up_to),
        ..whole
    };
    let beneath = StrandUniform {
        dim: BENEATH,
        ..whole
    };
    for (drawn, to) in [
        (&strands.layer, layer),
        (&strands.beneath, beneath),
        (&strands.blocks, whole),
    ] {
        let differs = materials
            .get(&drawn.material)
            .is_some_and(|m| m.uniform != to);
        if differs && let Some(mut material) = materials.get_mut(&drawn.material) {
            material.uniform = to;
        }
    }
}
