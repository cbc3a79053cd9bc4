#include "labels.h"

#include "lines.h"

#include <glib.h>
#include <math.h>
#include <string.h>

#define DIRECTIONS 16
#define COVERING 2.5 // heights of a label that it may stand farther off so as not to cover a line
#define ASIDE 2.0    // heights that a label may stand farther off so as to stand on its open side
#define PASSES 2
#define STEP 0.3   // heights between rings of places
#define ALIKE 0.25 // distances that are told apart by no more than so many heights of a label look the same

typedef struct placing
{
    size_t count;
    rlv_label* label;
    const rlv_label_place* among;
    double open[2]; // of the label that is placed: the side where its anchor has no neighbours, of length one at most
} placing;

bool rlv_boxes_overlap(rlv_box2 a, rlv_box2 b, double gap)
{
    return a.left < b.left + b.width + gap && b.left < a.left + a.width + gap && a.top < b.top + b.height + gap &&
           b.top < a.top + a.height + gap;
}

#define ELLIPSIS "…"

/// Where the letter that begins at `at` ends, with all marks that sit on it. What is no UTF-8 is taken byte by byte.
static const char* letter_end(const char* at)
{
    do
        at = g_utf8_get_char_validated(at, -1) < 0x110000 ? g_utf8_next_char(at) : at + 1;
    while (*at != '\0' && g_unichar_ismark(g_utf8_get_char_validated(at, -1)));
    return at;
}

rlv_short_name rlv_shorten_name(const char* name, size_t most)
{
    rlv_short_name shown;
    const char *at = name, *kept = name; // kept: up to the letter that gives way to the ellipsis
    size_t letters = 0;
    while (*at != '\0' && letters < most)
    {
        const char* end = letter_end(at);
        if ((size_t)(end - name) >= sizeof shown.text)
            break;
        if (++letters < most && (size_t)(end - name) + sizeof ELLIPSIS <= sizeof shown.text)
            kept = end;
        at = end;
    }
    const bool whole = *at == '\0';
    rlv_print(shown.text, sizeof shown.text, "%.*s%s", (int)((whole ? at : kept) - name), name, whole ? "" : ELLIPSIS);
    return shown;
}

static rlv_box2 box_of(const rlv_label* label)
{
    return (rlv_box2){label->left, label->top, label->width, label->height};
}

static bool is_free(const placing* of, rlv_box2 box)
{
    const rlv_label_place* among = of->among;
    const rlv_box2* in = &among->within;
    if (box.left < in->left || box.top < in->top || box.left + box.width > in->left + in->width ||
        box.top + box.height > in->top + in->height)
        return false;
    for (size_t i = 0; i < among->obstacle_count; i++)
        if (rlv_boxes_overlap(box, among->obstacle[i], among->gap))
            return false;
    for (size_t i = 0; i < of->count; i++)
        if (of->label[i].placed && rlv_boxes_overlap(box, box_of(&of->label[i]), among->gap))
            return false;
    return true;
}

// The point of a box nearest to an anchor.
static void nearest_in(rlv_box2 box, const double anchor[2], double foot[2])
{
    foot[0] = fmin(fmax(anchor[0], box.left), box.left + box.width);
    foot[1] = fmin(fmax(anchor[1], box.top), box.top + box.height);
}

static double side_of(const double a[2], const double b[2], const double p[2])
{
    return (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]);
}

static bool cross(const double a[2], const double b[2], const double c[2], const double d[2])
{
    return side_of(a, b, c) * side_of(a, b, d) < 0.0 && side_of(c, d, a) * side_of(c, d, b) < 0.0;
}

// Whether a stretch passes through a box.
static bool passes(const double a[2], const double b[2], rlv_box2 box)
{
    const double corner[4][2] = {{box.left, box.top},
                                 {box.left + box.width, box.top},
                                 {box.left + box.width, box.top + box.height},
                                 {box.left, box.top + box.height}};
    return cross(a, b, corner[0], corner[2]) || cross(a, b, corner[1], corner[3]);
}

// Whether a stretch meets a box: it ends inside it, or crosses one of its diagonals.
static bool meets(const rlv_stretch* line, rlv_box2 box)
{
    const double right = box.left + box.width, bottom = box.top + box.height;
    if (fmax(line->from[0], line->to[0]) <= box.left || fmin(line->from[0], line->to[0]) >= right ||
        fmax(line->from[1], line->to[1]) <= box.top || fmin(line->from[1], line->to[1]) >= bottom)
        return false;
    return (line->from[0] > box.left && line->from[0] < right && line->from[1] > box.top && line->from[1] < bottom) ||
           (line->to[0] > box.left && line->to[0] < right && line->to[1] > box.top && line->to[1] < bottom) ||
           passes(line->from, line->to, box);
}

size_t rlv_labels_covered(rlv_box2 box, size_t line_count, const rlv_stretch* line)
{
    size_t covered = 0;
    for (size_t i = 0; i < line_count; i++)
        covered += meets(&line[i], box);
    return covered;
}

static double off_of(const double anchor[2], rlv_box2 box)
{
    double foot[2];
    nearest_in(box, anchor, foot);
    return hypot(foot[0] - anchor[0], foot[1] - anchor[1]);
}

// Whether a box looks as if it named something else: an anchor is as near to it as its own, from edge to edge.
static bool misleads(const placing* of, const rlv_label* label, rlv_box2 box)
{
    const double own = off_of(label->anchor, box) - label->clear;
    for (size_t i = 0; i < of->count; i++)
        if (&of->label[i] != label &&
            off_of(of->label[i].anchor, box) - of->label[i].clear < own + ALIKE * label->height)
            return true;
    return false;
}

// Away from the other anchors, each of which counts by one over the square of its distance: along a row those on both
// sides even out, and what is left points away from other rows. Its length is how one-sided they are.
static void find_open(placing* of, const rlv_label* label)
{
    double sum[2] = {0.0, 0.0}, all = 0.0;
    for (size_t i = 0; i < of->count; i++)
    {
        const double x = label->anchor[0] - of->label[i].anchor[0], y = label->anchor[1] - of->label[i].anchor[1];
        const double square = x * x + y * y;
        if (!(square > 0.0))
            continue;
        sum[0] += x / (square * sqrt(square));
        sum[1] += y / (square * sqrt(square));
        all += 1.0 / square;
    }
    const double length = hypot(sum[0], sum[1]), one_sided = all > 0.0 ? fmin(2.0 * length / all, 1.0) : 0.0;
    for (int k = 0; k < 2; k++)
        of->open[k] = length > 0.0 ? one_sided * sum[k] / length : 0.0;
}

// What a free place costs, in mm: its distance, what it would cross or cover, and whether it misleads.
static double cost_of(const placing* of, const rlv_label* label, rlv_box2 box)
{
    double foot[2];
    nearest_in(box, label->anchor, foot);
    double cost = hypot(foot[0] - label->anchor[0], foot[1] - label->anchor[1]);
    cost += misleads(of, label, box) ? 1.5 * label->height : 0.0;
    const double x = box.left + 0.5 * box.width - label->anchor[0], y = box.top + 0.5 * box.height - label->anchor[1];
    const double far = hypot(x, y);
    if (far > 0.0)
        cost -= 0.5 * ASIDE * label->height * (x * of->open[0] + y * of->open[1]) / far;
    const size_t covered = rlv_labels_covered(box, of->among->line_count, of->among->line);
    cost += covered > 0 ? (COVERING + 0.3 * fmin((double)covered, 8.0)) * label->height : 0.0;
    for (size_t i = 0; i < of->count; i++)
    {
        const rlv_label* other = &of->label[i];
        double near[2];
        nearest_in(box, other->anchor, near);
        if (hypot(near[0] - other->anchor[0], near[1] - other->anchor[1]) < other->clear)
            cost += 3.0 * label->height;
        if (other == label || !other->placed)
            continue;
        if (passes(label->anchor, foot, box_of(other)))
            cost += 6.0 * label->height;
        if (other->led &&
            (cross(label->anchor, foot, other->anchor, other->foot) || passes(other->anchor, other->foot, box)))
            cost += 6.0 * label->height;
    }
    return cost;
}

// The box that stands off its anchor in a direction, by a distance from the anchor to the box.
static rlv_box2 box_towards(const rlv_label* label, int direction, double off)
{
    // Straight right first, which is how one reads; then the other sides and the slants.
    static const int order[DIRECTIONS] = {0, 2, 14, 8, 4, 12, 6, 10, 1, 15, 3, 13, 7, 9, 5, 11};
    double angle = 2.0 * M_PI * order[direction] / DIRECTIONS, x = cos(angle), y = -sin(angle);
    double half_x = 0.5 * label->width, half_y = 0.5 * label->height;
    double middle_x = label->anchor[0] + x * off + half_x * fmin(fmax(1.6 * x, -1.0), 1.0);
    double middle_y = label->anchor[1] + y * off + half_y * fmin(fmax(1.6 * y, -1.0), 1.0);
    return (rlv_box2){middle_x - half_x, middle_y - half_y, label->width, label->height};
}

static bool place_on_rings(const placing* of, rlv_label* label)
{
    const rlv_box2* within = &of->among->within;
    double least = INFINITY, step = STEP * label->height;
    double farthest = fmin(hypot(within->width, within->height), 24.0 * label->height);
    for (double off = label->clear + 0.5 * of->among->gap; off <= farthest && off < least + ASIDE * label->height;
         off += step)
        for (int k = 0; k < DIRECTIONS; k++)
        {
            rlv_box2 box = box_towards(label, k, off);
            if (!is_free(of, box))
                continue;
            double cost = cost_of(of, label, box) + 1e-3 * k;
            if (cost < least)
            {
                least = cost;
                label->left = box.left;
                label->top = box.top;
            }
        }
    return isfinite(least);
}

static bool place_anywhere(const placing* of, rlv_label* label)
{
    const rlv_box2* within = &of->among->within;
    double least = INFINITY, step = fmax(0.5 * label->height, hypot(within->width, within->height) / 400.0);
    rlv_box2 box = {0.0, 0.0, label->width, label->height};
    for (box.top = within->top; box.top + box.height <= within->top + within->height; box.top += step)
        for (box.left = within->left; box.left + box.width <= within->left + within->width; box.left += step)
        {
            double foot[2];
            nearest_in(box, label->anchor, foot);
            double far = hypot(foot[0] - label->anchor[0], foot[1] - label->anchor[1]);
            if (far >= least || !is_free(of, box))
                continue;
            least = far;
            label->left = box.left;
            label->top = box.top;
        }
    return isfinite(least);
}

static double stretch_off_box(const rlv_stretch* line, rlv_box2 box)
{
    if (meets(line, box))
        return 0.0;
    double least = fmin(off_of(line->from, box), off_of(line->to, box));
    for (int k = 0; k < 4; k++)
    {
        const double corner[2] = {box.left + (k % 2) * box.width, box.top + (int)(k / 2) * box.height};
        least = fmin(least, rlv_off_stretch(corner, line->from, line->to));
    }
    return least;
}

// How far a box is from what a label names, from edge to edge.
static double off_own(const placing* of, const rlv_label* label, rlv_box2 box)
{
    if (label->own_count == 0)
        return fmax(off_of(label->anchor, box) - label->clear, 0.0);
    double least = INFINITY;
    for (size_t i = 0; i < label->own_count; i++)
        least = fmin(least, stretch_off_box(&of->among->line[label->own_first + i], box));
    return least;
}

#define ASTRAY 0.5 // heights of a label that it may stand off an outline without a leader

// Nearer to what another label names than to its own, or so far off that it seems to name nothing.
static bool is_astray(const placing* of, const rlv_label* label)
{
    const double own = off_own(of, label, box_of(label));
    if (own > ASTRAY * label->height)
        return true;
    for (size_t i = 0; i < of->count; i++)
        if (&of->label[i] != label && of->label[i].own_count > 0 && off_own(of, &of->label[i], box_of(label)) < own)
            return true;
    return false;
}

static void lead(const placing* of, rlv_label* label)
{
    const double off = off_of(label->anchor, box_of(label));
    nearest_in(box_of(label), label->anchor, label->foot);
    label->led = label->placed && (label->own_count > 0 ? is_astray(of, label)
                                                        : off > label->clear + 0.8 * label->height ||
                                                              misleads(of, label, box_of(label)));
}

size_t rlv_labels_place(size_t count, rlv_label* label, const rlv_label_place* among)
{
    placing of = {count, label, among, {0.0, 0.0}};
    size_t left_out = 0;
    for (size_t i = 0; i < count; i++)
    {
        label[i].placed = label[i].fixed;
        label[i].led = false;
    }
    for (size_t i = 0; i < PASSES * count; i++)
    {
        rlv_label* one = &label[i % count];
        if (one->fixed)
            continue;
        find_open(&of, one);
        one->placed = one->led = false; // its own place is free to it
        one->placed = place_on_rings(&of, one) || place_anywhere(&of, one);
        lead(&of, one);
    }
    for (size_t i = 0; i < count; i++)
        left_out += !label[i].placed;
    return left_out;
}
