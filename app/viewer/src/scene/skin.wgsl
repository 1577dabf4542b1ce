// The part's skin: the colour of its region at each pixel, lit softly from over the eye's
// left shoulder. Heights are cut, marked and tinted here, so these edges are exact.

#import bevy_pbr::{
    mesh_functions::{get_world_from_local, mesh_position_local_to_world},
    view_transformations::position_world_to_clip,
}

struct Skin {
    // xyz: towards the light.
    light: vec4<f32>,
    // xyz: towards the eye (parallel) or the eye's position (perspective); w: 1 in perspective.
    eye: vec4<f32>,
    // The section plane: its normal, and its place along that, mm. Nothing beyond it is drawn; no
    // normal for no plane.
    cut: vec4<f32>,
    // Height of the marked line, mm; far below the part for none.
    guide_mm: f32,
    // Heights between which the skin is tinted, mm.
    tint_from_mm: f32,
    tint_to_mm: f32,
    tint: vec4<f32>,
    mark: vec4<f32>,
    // Face of the cut.
    face: vec4<f32>,
    // Index of the region that is set off from the others, or -1.
    lift_region: i32,
    // Opacity: 1 for the part, less for a preview laid over it.
    opacity: f32,
    // How far a preview stands off the skin, mm.
    stand_off_mm: f32,
    // Width of a pixel in the plane through the target, mm.
    pixel_mm: f32,
    // Heights between which the colours as printed are listed, mm.
    print_from_mm: f32,
    print_to_mm: f32,
    // Whether colours as printed are shown: by height, where a region's row names rows of them.
    by_height: i32,
    // How far the part fades into the ground: 0 for not at all.
    dim: f32,
    // Whether this is the face that the section plane opens.
    is_face: i32,
}

@group(#{MATERIAL_BIND_GROUP}) @binding(0) var<uniform> skin: Skin;
// One row a region: texel 0 holds where its ramp starts and ends (mm), the others its colours
// in linear light, evenly spread between. Texel 0 also names the first of the rows with the
// region's colours as printed, and how many there are: one for each stretch of the ramp. Their
// texels are evenly spread over the part's height.
@group(#{MATERIAL_BIND_GROUP}) @binding(1) var ramps: texture_2d<f32>;

// Stands for a region where no region asks for a blend.
const NO_REGION: u32 = 0xffffffffu;

struct Vertex {
    @builtin(instance_index) instance: u32,
    @location(0) position: vec3<f32>,
    @location(1) normal: vec3<f32>,
    @location(2) along_mm: f32,
    @location(3) region: u32,
}

struct Between {
    @builtin(position) position: vec4<f32>,
    @location(0) world: vec3<f32>,
    @location(1) normal: vec3<f32>,
    @location(2) along_mm: f32,
    @location(3) @interpolate(flat) region: u32,
    // How far the place is beyond the section plane, mm. At the edge of a triangle it is taken within
    // that: beyond, what is cut away might seem left.
    @location(4) @interpolate(perspective, centroid) beyond_mm: f32,
}

@vertex
fn vertex(in: Vertex) -> Between {
    var out: Between;
    let from_local = get_world_from_local(in.instance);
    let lifted = in.position + in.normal * skin.stand_off_mm;
    out.world = mesh_position_local_to_world(from_local, vec4(lifted, 1.0)).xyz;
    out.position = position_world_to_clip(out.world);
    out.normal = in.normal;
    out.along_mm = in.along_mm;
    out.region = in.region;
    out.beyond_mm = dot(out.world, skin.cut.xyz) - skin.cut.w;
    return out;
}

fn ramp_colour(region: u32, along_mm: f32, height_mm: f32) -> vec3<f32> {
    let row = i32(region);
    let ends = textureLoad(ramps, vec2(0, row), 0);
    let steps = f32(textureDimensions(ramps).x) - 2.0;
    let width = max(ends.y - ends.x, 1e-6);
    let share = clamp((along_mm - ends.x) / width, 0.0, 1.0);
    if skin.by_height != 0 && ends.w > 0.5 {
        let stretch = i32(ends.z) + i32(min(floor(share * ends.w), ends.w - 1.0));
        let tall = max(skin.print_to_mm - skin.print_from_mm, 1e-6);
        let up = clamp((height_mm - skin.print_from_mm) / tall, 0.0, 1.0);
        let texel = i32(min(floor(up * (steps + 1.0)), steps));
        return textureLoad(ramps, vec2(1 + texel, stretch), 0).rgb;
    }
    let at = share * steps;
    let low = min(floor(at), steps - 1.0);
    let one = textureLoad(ramps, vec2(1 + i32(low), row), 0).rgb;
    let other = textureLoad(ramps, vec2(2 + i32(low), row), 0).rgb;
    return mix(one, other, at - low);
}

@fragment
fn fragment(in: Between, @builtin(front_facing) front: bool) -> @location(0) vec4<f32> {
    if in.beyond_mm > 0.0 {
        discard;
    }
    let to_eye = normalize(mix(skin.eye.xyz, skin.eye.xyz - in.world, skin.eye.w));

    // Seen from behind where the part is cut, the skin is what the cut opened: show it as the
    // face of the cut.
    let is_cut = skin.cut.w < 1.0e8;
    let is_free = skin.is_face != 0 && in.region == NO_REGION;
    if (!front && is_cut && skin.stand_off_mm == 0.0) || is_free {
        let weave = fract((in.position.x + in.position.y) / 9.0);
        let hatch = 1.0 - 0.07 * smoothstep(0.40, 0.5, abs(weave - 0.5));
        return vec4(skin.face.rgb * hatch, 1.0);
    }

    let outward = normalize(in.normal);
    let normal = select(-outward, outward, front);
    var colour = ramp_colour(in.region, in.along_mm, in.world.z);

    if in.world.z >= skin.tint_from_mm && in.world.z < skin.tint_to_mm {
        colour = mix(colour, skin.tint.rgb, skin.tint.a);
    }
    if skin.lift_region >= 0 && i32(in.region) != skin.lift_region {
        let grey = dot(colour, vec3(0.2126, 0.7152, 0.0722));
        colour = mix(colour, vec3(mix(grey, skin.face.r, 0.5)), 0.7);
    }

    // What is inside has no light of its own: the face shows the predicted colours themselves.
    if skin.is_face != 0 {
        return vec4(mix(colour, skin.face.rgb, skin.dim), 1.0);
    }

    // A facet turned fully to the light shows the predicted colour itself; the rest is darker.
    let facing = dot(normal, skin.light.xyz);
    let wrapped = clamp(0.5 + 0.5 * facing, 0.0, 1.0);
    let rim = 1.0 - clamp(dot(normal, to_eye), 0.0, 1.0);
    let light = mix(0.34, 1.0, wrapped * wrapped * (3.0 - 2.0 * wrapped)) * (1.0 - 0.22 * rim * rim);
    colour *= light;
    colour = mix(colour, skin.face.rgb, skin.dim);

    // A line of constant width on the window along a height. Where the skin lies flat there is
    // no line to draw: all of it is at that height, and its colour must stay what it is.
    let slope = length(vec2(dpdx(in.world.z), dpdy(in.world.z)));
    let steep = smoothstep(0.04, 0.12, slope / skin.pixel_mm);
    let off = abs(in.world.z - skin.guide_mm) / max(slope, skin.pixel_mm * 0.02);
    let mark = skin.mark.a * steep * (1.0 - smoothstep(0.7, 1.7, off));
    colour = mix(colour, skin.mark.rgb, mark);

    return vec4(colour, skin.opacity);
}
