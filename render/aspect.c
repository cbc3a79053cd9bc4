#include "aspect.h"

#include "section.h"

#include <string.h>

static const char* const names[RLV_ASPECT_COUNT] = {"dorsal",        "ventral",  "left lateral",
                                                    "right lateral", "anterior", "posterior"};

const char* rlv_aspect_name(rlv_aspect aspect)
{
    return names[aspect];
}

static bool is_name(const char* name, const char* wanted)
{
    size_t i = 0;
    for (; wanted[i] != '\0'; i++)
        if (name[i] != wanted[i] && !(wanted[i] == ' ' && (name[i] == '-' || name[i] == '_')))
            return false;
    return name[i] == '\0';
}

bool rlv_aspect_find(const char* name, rlv_aspect* aspect)
{
    for (int i = 0; i < RLV_ASPECT_COUNT; i++)
        if (is_name(name, names[i]))
        {
            *aspect = (rlv_aspect)i;
            return true;
        }
    return false;
}

static rlv_camera_axes axes_of(rlv_vec3 towards, rlv_vec3 up)
{
    rlv_plane plane = rlv_plane_facing(rlv_vec3_of(0, 0, 0), towards, up);
    return (rlv_camera_axes){plane.right, plane.up, rlv_vec3_cross(plane.right, plane.up)};
}

rlv_camera_axes rlv_aspect_of_body(rlv_aspect aspect, rlv_vec3 along, rlv_vec3 dorsal)
{
    // The body seen from behind: tailwards the reader, the back up; its left is then the reader's left.
    rlv_camera_axes behind = axes_of(along, dorsal);
    rlv_vec3 back = behind.up, tail = behind.towards, right = behind.right;
    switch (aspect)
    {
    case RLV_ASPECT_DORSAL:
        return axes_of(back, right);
    case RLV_ASPECT_VENTRAL:
        return axes_of(rlv_vec3_scale(back, -1.0), rlv_vec3_scale(right, -1.0));
    case RLV_ASPECT_LEFT_LATERAL:
        return axes_of(rlv_vec3_scale(right, -1.0), back);
    case RLV_ASPECT_RIGHT_LATERAL:
        return axes_of(right, back);
    case RLV_ASPECT_ANTERIOR:
        return axes_of(rlv_vec3_scale(tail, -1.0), back);
    default:
        return behind;
    }
}

rlv_camera_axes rlv_aspect_of_upper_side(rlv_vec3 up, rlv_vec3 north)
{
    return axes_of(up, north);
}

rlv_camera_axes rlv_aspect_from(rlv_vec3 up, rlv_vec3 north, double azimuth_deg, double elevation_deg)
{
    rlv_camera_axes map = axes_of(up, north); // right is east
    double azimuth = azimuth_deg * M_PI / 180.0, elevation = elevation_deg * M_PI / 180.0;
    rlv_vec3 level = rlv_vec3_add(rlv_vec3_scale(map.right, sin(azimuth)), rlv_vec3_scale(map.up, cos(azimuth)));
    rlv_vec3 towards = rlv_vec3_add(rlv_vec3_scale(level, cos(elevation)), rlv_vec3_scale(map.towards, sin(elevation)));
    return axes_of(towards, fabs(cos(elevation)) > 1e-9 ? map.towards : rlv_vec3_scale(level, -sin(elevation)));
}
