//! The JSON of a glTF file, as far as shapes and their looks need it.

use serde::Deserialize;

/// The document. Lists that are missing are empty.
#[derive(Debug, Default, Deserialize)]
#[serde(rename_all = "camelCase", default)]
pub(super) struct Document {
    pub(super) asset: Asset,
    pub(super) scene: Option<u32>,
    pub(super) scenes: Vec<Scene>,
    pub(super) nodes: Vec<Node>,
    pub(super) meshes: Vec<MeshOf>,
    pub(super) accessors: Vec<Accessor>,
    pub(super) buffer_views: Vec<BufferView>,
    pub(super) buffers: Vec<Buffer>,
    pub(super) materials: Vec<MaterialOf>,
    pub(super) textures: Vec<TextureOf>,
    pub(super) images: Vec<Image>,
    pub(super) samplers: Vec<Sampler>,
    pub(super) extensions_required: Vec<String>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(rename_all = "camelCase", default)]
pub(super) struct Asset {
    pub(super) version: String,
    pub(super) min_version: Option<Box<str>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Scene {
    pub(super) nodes: Vec<u32>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Node {
    pub(super) name: Option<Box<str>>,
    pub(super) children: Vec<u32>,
    pub(super) mesh: Option<u32>,
    pub(super) skin: Option<u32>,
    pub(super) matrix: Option<Box<[f64; 16]>>,
    pub(super) translation: Option<Box<[f64; 3]>>,
    pub(super) rotation: Option<Box<[f64; 4]>>,
    pub(super) scale: Option<Box<[f64; 3]>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct MeshOf {
    pub(super) name: Option<Box<str>>,
    pub(super) primitives: Vec<Primitive>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Primitive {
    pub(super) attributes: serde_json::Map<String, serde_json::Value>,
    pub(super) indices: Option<u32>,
    pub(super) material: Option<u32>,
    pub(super) mode: Option<u32>,
    #[serde(default)]
    pub(super) extensions: serde_json::Map<String, serde_json::Value>,
}

impl Primitive {
    /// The number of the accessor of an attribute.
    pub(super) fn attribute(&self, name: &str) -> Option<u32> {
        let number = self.attributes.get(name)?.as_u64()?;
        u32::try_from(number).ok()
    }
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Accessor {
    pub(super) buffer_view: Option<u32>,
    #[serde(default)]
    pub(super) byte_offset: u64,
    pub(super) component_type: u32,
    #[serde(default)]
    pub(super) normalized: bool,
    pub(super) count: u64,
    #[serde(rename = "type")]
    pub(super) kind: Box<str>,
    pub(super) sparse: Option<serde::de::IgnoredAny>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct BufferView {
    pub(super) buffer: u32,
    #[serde(default)]
    pub(super) byte_offset: u64,
    pub(super) byte_length: u64,
    pub(super) byte_stride: Option<u64>,
    #[serde(default)]
    pub(super) extensions: serde_json::Map<String, serde_json::Value>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Buffer {
    pub(super) uri: Option<String>,
    pub(super) byte_length: u64,
}

#[derive(Debug, Default, Deserialize)]
#[serde(rename_all = "camelCase", default)]
pub(super) struct MaterialOf {
    pub(super) pbr_metallic_roughness: Option<Box<Pbr>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(rename_all = "camelCase", default)]
pub(super) struct Pbr {
    pub(super) base_color_factor: Option<[f32; 4]>,
    pub(super) base_color_texture: Option<TextureInfo>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct TextureInfo {
    pub(super) index: u32,
    #[serde(default)]
    pub(super) tex_coord: u32,
    #[serde(default)]
    pub(super) extensions: TextureExtensions,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct TextureExtensions {
    #[serde(rename = "KHR_texture_transform")]
    pub(super) transform: Option<TextureTransform>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(rename_all = "camelCase", default)]
pub(super) struct TextureTransform {
    pub(super) offset: [f32; 2],
    pub(super) rotation: f32,
    pub(super) scale: Option<[f32; 2]>,
    pub(super) tex_coord: Option<u32>,
}

impl TextureTransform {
    /// Where a place on the texture goes.
    pub(super) fn apply(&self, [u, v]: [f32; 2]) -> [f32; 2] {
        let [wide, high] = self.scale.unwrap_or([1.0; 2]);
        let (sin, cos) = self.rotation.sin_cos();
        let (u, v) = (u * wide, v * high);
        let [right, down] = self.offset;
        [cos * u + sin * v + right, cos * v - sin * u + down]
    }
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct TextureOf {
    pub(super) source: Option<u32>,
    pub(super) sampler: Option<u32>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(rename_all = "camelCase", default)]
pub(super) struct Image {
    pub(super) name: Option<Box<str>>,
    pub(super) uri: Option<String>,
    pub(super) buffer_view: Option<u32>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(rename_all = "camelCase", default)]
pub(super) struct Sampler {
    pub(super) wrap_s: Option<u32>,
    pub(super) wrap_t: Option<u32>,
}
