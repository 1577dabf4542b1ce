#version 300 es
precision highp float;
layout(location = 0) in vec3 a_place;
layout(location = 1) in uint a_class;
uniform mat4 u_look, u_all;
uniform vec3 u_size;
out vec3 v_eye;
out float v_height;
flat out uint v_class;
void main() {
    vec3 place = (a_place - 0.5) * u_size;
    v_eye = (u_look * vec4(place, 1.0)).xyz;
    v_height = a_place.z;
    v_class = a_class;
    gl_Position = u_all * vec4(place, 1.0);
}
