//! The two materials of the scene: the part's skin and the build plate.

use bevy::asset::{load_internal_asset, uuid_handle};
use bevy::mesh::{MeshVertexAttribute, MeshVertexBufferLayoutRef};
use bevy::pbr::{MaterialPipeline, MaterialPipelineKey};
use bevy::prelude::*;
use bevy::render::render_resource::{
    AsBindGroup, Face, RenderPipelineDescriptor, ShaderType, SpecializedMeshPipelineError,
    VertexFormat,
};
use bevy::shader::{Shader, ShaderRef};

const SKIN_SHADER: Handle<Shader> = uuid_handle!("3f6f5b0e-4f0c-4f43-9d0e-6f0a6f9d1a01");
const PLATE_SHADER: Handle<Shader> = uuid_handle!("3f6f5b0e-4f0c-4f43-9d0e-6f0a6f9d1a02");

/// Where a vertex lies along its region's ramp, mm.
pub(super) const ALONG: MeshVertexAttribute =
    MeshVertexAttribute::new("Along", 0x7157_0001, VertexFormat::Float32);

/// The region whose ramp colours a facet.
pub(super) const REGION: MeshVertexAttribute =
    MeshVertexAttribute::new("Region", 0x7157_0002, VertexFormat::Uint32);

/// A height at which no mark shows, mm.
pub(super) const NOWHERE_MM: f32 = -1.0e9;

/// A section plane that cuts nothing away.
pub(super) const NO_CUT: Vec4 = Vec4::new(0.0, 0.0, 0.0, 1.0e9);

/// What the skin's shader is told; the shader says what each field means.
#[derive(Clone, Copy, Debug, PartialEq, ShaderType)]
#[allow(missing_docs, reason = "the shader says what each field means")]
pub(super) struct SkinUniform {
    pub light: Vec4,
    pub eye: Vec4,
    pub cut: Vec4,
    pub guide_mm: f32,
    pub tint_from_mm: f32,
    pub tint_to_mm: f32,
    pub tint: Vec4,
    pub mark: Vec4,
    pub face: Vec4,
    pub lift_region: i32,
    pub opacity: f32,
    pub stand_off_mm: f32,
    pub pixel_mm: f32,
    pub print_from_mm: f32,
    pub print_to_mm: f32,
    pub by_height: i32,
    pub dim: f32,
    pub is_face: i32,
}

impl Default for SkinUniform {
    fn default() -> Self {
        Self {
            light: Vec4::Z,
            eye: Vec4::Z,
            cut: NO_CUT,
            guide_mm: NOWHERE_MM,
            tint_from_mm: NOWHERE_MM,
            tint_to_mm: NOWHERE_MM,
            tint: Vec4::ZERO,
            mark: Vec4::ZERO,
            face: Vec4::splat(0.5),
            lift_region: -1,
            opacity: 1.0,
            stand_off_mm: 0.0,
            pixel_mm: 0.1,
            print_from_mm: 0.0,
            print_to_mm: 1.0,
            by_height: 0,
            dim: 0.0,
            is_face: 0,
        }
    }
}

/// The skin of the part, or a preview laid over it.
#[derive(Asset, TypePath, AsBindGroup, Debug, Clone)]
pub(super) struct SkinMaterial {
    /// See [`SkinUniform`].
    #[uniform(0)]
    pub uniform: SkinUniform,
    /// The regions' ramps.
    #[texture(1, sample_type = "float", filterable = false)]
    pub ramps: Handle<Image>,
    /// Blended over what lies beneath.
    pub over: bool,
}

impl Material for SkinMaterial {
    fn vertex_shader() -> ShaderRef {
        SKIN_SHADER.into()
    }

    fn fragment_shader() -> ShaderRef {
        SKIN_SHADER.into()
    }

    fn alpha_mode(&self) -> AlphaMode {
        match self.over {
            true => AlphaMode::Blend,
            false => AlphaMode::Opaque,
        }
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
            ALONG,
            REGION,
        ];
        // The inside is seen where the part is cut open or not closed.
        lay_out(descriptor, layout, &corners, None)
    }
}

/// Tells the card what the corners of a material's facets hold, in the order in which its shader
/// names them, and which side of the facets is not drawn.
pub(super) fn lay_out(
    descriptor: &mut RenderPipelineDescriptor,
    layout: &MeshVertexBufferLayoutRef,
    corners: &[MeshVertexAttribute],
    unseen: Option<Face>,
) -> Result<(), SpecializedMeshPipelineError> {
    let places = corners.iter().zip(0..);
    let placed: Vec<_> = places.map(|(c, at)| c.at_shader_location(at)).collect();
    descriptor.vertex.buffers = vec![layout.0.get_layout(&placed)?];
    descriptor.primitive.cull_mode = unseen;
    Ok(())
}

/// What the plate's shader is told.
#[derive(Clone, Copy, Debug, PartialEq, Default, ShaderType)]
#[allow(missing_docs, reason = "the shader says what each field means")]
pub(super) struct PlateUniform {
    pub fill: Vec4,
    pub line: Vec4,
    pub half_mm: Vec4,
}

/// The build plate.
#[derive(Asset, TypePath, AsBindGroup, Debug, Clone)]
pub(super) struct PlateMaterial {
    /// See [`PlateUniform`].
    #[uniform(0)]
    pub uniform: PlateUniform,
}

impl Material for PlateMaterial {
    fn vertex_shader() -> ShaderRef {
        PLATE_SHADER.into()
    }

    fn fragment_shader() -> ShaderRef {
        PLATE_SHADER.into()
    }

    fn alpha_mode(&self) -> AlphaMode {
        AlphaMode::Blend
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
        // Looked at from below, the part must not hide behind the plate.
        let corners = [Mesh::ATTRIBUTE_POSITION];
        lay_out(descriptor, layout, &corners, Some(Face::Back))
    }
}

/// Adds both materials and their shaders.
pub(super) fn add_materials(app: &mut App) {
    load_internal_asset!(app, SKIN_SHADER, "skin.wgsl", Shader::from_wgsl);
    load_internal_asset!(app, PLATE_SHADER, "plate.wgsl", Shader::from_wgsl);
    app.add_plugins((
        MaterialPlugin::<SkinMaterial>::default(),
        MaterialPlugin::<PlateMaterial>::default(),
    ));
}
