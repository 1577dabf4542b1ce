// Strands of laid plastic, up to a move of their layer. The light is that of the part's skin, so
// that the same plastic looks the same: turned fully to it, a strand shows its colour itself.

#import bevy_pbr::{
    mesh_functions::{get_world_from_local, mesh_position_local_to_world},
    view_transformations::position_world_to_clip,
}

struct Strands {
    // xyz: towards the light.
    light: vec4<f32>,
    // What a layer that lies beneath fades into.
    ground: vec4<f32>,
    // The last move that is shown.
    up_to: u32,
    // How far it fades: 0 for not at all.
    dim: f32,
    rest: vec2<f32>,
}

@group(#{MATERIAL_BIND_GROUP}) @binding(0) var<uniform> strands: Strands;

struct Vertex {
    @builtin(instance_index) instance: u32,
    @location(0) position: vec3<f32>,
    @location(1) normal: vec3<f32>,
    @location(2) colour: vec4<f32>,
    @location(3) number: u32,
}

struct Between {
    @builtin(position) position: vec4<f32>,
    @location(0) normal: vec3<f32>,
    @location(1) colour: vec3<f32>,
    @location(2) @interpolate(flat) number: u32,
}

// IEC 61966-2-1: from the encoded value to linear light.
fn linear(encoded: vec3<f32>) -> vec3<f32> {
    let low = encoded / 12.92;
    let high = pow((encoded + 0.055) / 1.055, vec3(2.4));
    return select(high, low, encoded <= vec3(0.04045));
}

@vertex
fn vertex(in: Vertex) -> Between {
    var out: Between;
    let from_local = get_world_from_local(in.instance);
    let world = mesh_position_local_to_world(from_local, vec4(in.position, 1.0)).xyz;
    out.position = position_world_to_clip(world);
    out.normal = in.normal;
    out.colour = linear(in.colour.rgb);
    out.number = in.number;
    return out;
}

@fragment
fn fragment(in: Between) -> @location(0) vec4<f32> {
    if in.number > strands.up_to {
        discard;
    }
    let facing = dot(normalize(in.normal), strands.light.xyz);
    let wrapped = clamp(0.5 + 0.5 * facing, 0.0, 1.0);
    let light = mix(0.3, 1.0, wrapped * wrapped * (3.0 - 2.0 * wrapped));
    return vec4(mix(in.colour * light, strands.ground.rgb, strands.dim), 1.0);
}
