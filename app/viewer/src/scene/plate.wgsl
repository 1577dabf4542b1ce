// The build plate with its millimetre grid: thin lines every 10 mm, stronger ones every 50 mm,
// each as wide as a pixel at any zoom and fading out before they crowd.

#import bevy_pbr::{
    mesh_functions::{get_world_from_local, mesh_position_local_to_world},
    view_transformations::position_world_to_clip,
}

struct Plate {
    fill: vec4<f32>,
    line: vec4<f32>,
    // x, y: half the size, mm.
    half_mm: vec4<f32>,
}

@group(#{MATERIAL_BIND_GROUP}) @binding(0) var<uniform> plate: Plate;

struct Vertex {
    @builtin(instance_index) instance: u32,
    @location(0) position: vec3<f32>,
}

struct Between {
    @builtin(position) position: vec4<f32>,
    @location(0) world: vec3<f32>,
}

@vertex
fn vertex(in: Vertex) -> Between {
    var out: Between;
    let from_local = get_world_from_local(in.instance);
    out.world = mesh_position_local_to_world(from_local, vec4(in.position, 1.0)).xyz;
    out.position = position_world_to_clip(out.world);
    return out;
}

fn lines(at: vec2<f32>, every_mm: f32) -> f32 {
    let cell = at / every_mm;
    let pixel = max(fwidth(cell), vec2(1e-6));
    let off = abs(fract(cell - 0.5) - 0.5) / pixel;
    let line = 1.0 - smoothstep(0.4, 1.2, min(off.x, off.y));
    let crowd = max(pixel.x, pixel.y);
    return line * (1.0 - smoothstep(0.12, 0.4, crowd));
}

@fragment
fn fragment(in: Between) -> @location(0) vec4<f32> {
    let at = in.world.xy;
    let fine = lines(at, 10.0) * 0.35;
    let strong = lines(at, 50.0) * 0.8;
    let inset = plate.half_mm.xy - abs(at);
    let edge_pixel = max(fwidth(inset.x), fwidth(inset.y));
    let border = 1.0 - smoothstep(0.8, 2.0, min(inset.x, inset.y) / max(edge_pixel, 1e-6));
    let ink = max(max(fine, strong), border);
    return vec4(
        mix(plate.fill.rgb, plate.line.rgb, ink),
        mix(plate.fill.a, plate.line.a, ink),
    );
}
