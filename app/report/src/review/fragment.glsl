#version 300 es
precision highp float;
precision highp sampler2D;
in vec3 v_eye;
in float v_height;
flat in uint v_class;
uniform sampler2D u_tone;
uniform vec3 u_up;
uniform float u_rows;
uniform bool u_plain;
out vec4 o_colour;
vec3 linear(vec3 c) { return mix(c / 12.92, pow((c + 0.055) / 1.055, vec3(2.4)), step(0.04045, c)); }
vec3 coded(vec3 c) { return mix(c * 12.92, 1.055 * pow(c, vec3(1.0 / 2.4)) - 0.055, step(0.0031308, c)); }
void main() {
    vec3 normal = normalize(cross(dFdx(v_eye), dFdy(v_eye)));
    // A level face shows the layer beneath it.
    float up = dot(normal, u_up);
    int row = int(clamp(floor(v_height * u_rows - 0.05 * up), 0.0, u_rows - 1.0));
    vec3 tone = texelFetch(u_tone, ivec2(int(v_class), row), 0).rgb;
    // One number for all three colours, so that hue and chromaticity stay.
    float light = 0.42 + 0.58 * clamp(0.62 * normal.z + 0.3 * normal.y + 0.25 * normal.x + 0.14, 0.0, 1.0);
    if (u_plain) { light = 0.7 + 0.3 * light; }
    o_colour = vec4(coded(linear(tone) * light), 1.0);
}
