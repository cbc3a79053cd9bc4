#include "lettering.h"

#include "marks.h"
#include "sheet.h"

#include <math.h>

// Places on the page, in its unit, from the left, the top or the bottom.
#define MARGIN 5.0
#define TITLE_TOP 4.6
#define BAR_LONG 34.0 // the scale bar's longest length
#define BAND_TOP 18.6 // of scale bar and legend, over the page's lower edge
#define LEGEND_WIDE 52.0
#define RULE 9.0    // over the small print
#define LETTERS 1.5 // of the small letters' em

static double page_unit(size_t width, size_t height)
{
    return fmin((double)height, 0.75 * (double)width) / 100.0;
}

double rlv_paper_scale(size_t width, size_t height, double width_mm)
{
    const double long_mm = 420.0, short_mm = 297.0; // A3, ISO 216
    double height_mm = width_mm * (double)height / (double)width;
    double wide = width >= height ? long_mm : short_mm, tall = width >= height ? short_mm : long_mm;
    return rlv_standard_scale(fmin(wide / width_mm, tall / height_mm));
}

// The page as a sheet: what a hundredth of it is in mm, and how large its letters are.
typedef struct letterer
{
    rlv_sheet sheet;
    double page_mm;
} letterer;

static double sheet_unit(double page_mm)
{
    return page_mm * LETTERS / RLV_LETTER_SMALL;
}

static void put_title(letterer* on, const char* title)
{
    const double p = on->page_mm;
    const rlv_lettering how = {.size_mm = RLV_LETTER_HEAD,
                               .grey = RLV_INK_BLACK,
                               .width_mm = on->sheet.width_mm - (2.0 * MARGIN + 14.0) * p,
                               .most_lines = 2};
    rlv_sheet_text(&on->sheet, title, MARGIN * p, (TITLE_TOP + 2.4) * p, &how);
}

static void put_footer(letterer* on, const char* footer)
{
    const double p = on->page_mm, width = on->sheet.width_mm, height = on->sheet.height_mm;
    const rlv_lettering how = {.size_mm = 0.88 * RLV_LETTER_SMALL,
                               .grey = RLV_INK_GREY,
                               .width_mm = width - 2.0 * MARGIN * p,
                               .most_lines = 3};
    rlv_sheet_grey(&on->sheet, RLV_INK_RULE);
    rlv_sheet_line(&on->sheet, MARGIN * p, height - RULE * p, width - MARGIN * p, height - RULE * p, RLV_LINE_HAIR);
    rlv_sheet_text(&on->sheet, footer, MARGIN * p, height - (MARGIN + 1.6) * p, &how);
}

static void put_axes(letterer* on, const rlv_camera* camera)
{
    static const rlv_direction direction[3] = {{{1, 0, 0}, "x"}, {{0, 1, 0}, "y"}, {{0, 0, 1}, "z"}};
    const rlv_camera_axes axes = rlv_camera_axes_of(camera);
    const double p = on->page_mm;
    rlv_mark_axes(&on->sheet, on->sheet.width_mm - (MARGIN + 5.0) * p, 6.4 * p, 4.4, &axes, 3, direction);
}

rlv_scale_bar rlv_scale_bar_of(size_t width, size_t height, double width_mm)
{
    const double unit = page_unit(width, height), scale = rlv_paper_scale(width, height, width_mm);
    const double pixel_mm = scale * width_mm / (double)width;
    return (rlv_scale_bar){.bar = rlv_bar_of(scale, BAR_LONG * unit * pixel_mm),
                           .scale = scale,
                           .left_mm = MARGIN * unit * pixel_mm,
                           .top_mm = ((double)height - BAND_TOP * unit) * pixel_mm,
                           .pixel_mm = pixel_mm};
}

rlv_status rlv_letter(rlv_picture* picture, const rlv_camera* camera, const rlv_overlay* overlay,
                      const rlv_view_options* options, const rlv_paint_seen* seen, rlv_error* error)
{
    letterer on = {.page_mm = page_unit(picture->width, picture->height) * picture->pixel_mm};
    rlv_status status = rlv_sheet_over(&on.sheet, picture, error);
    if (status != RLV_DONE)
        return status;
    const double p = on.page_mm;
    const rlv_scale_bar bar = rlv_scale_bar_of(picture->width, picture->height, camera->width_mm);
    on.sheet.unit = sheet_unit(p);
    if (options->title != NULL)
        put_title(&on, options->title);
    put_axes(&on, camera);
    rlv_mark_bar(&on.sheet, bar.left_mm, bar.top_mm, bar.scale, BAR_LONG * p);
    if (overlay != NULL)
        rlv_mark_legend(&on.sheet, on.sheet.width_mm - (MARGIN + LEGEND_WIDE) * p, bar.top_mm, LEGEND_WIDE * p, overlay,
                        seen, NULL);
    if (options->footer != NULL)
        put_footer(&on, options->footer);
    status = rlv_sheet_take_back(&on.sheet, picture, error);
    rlv_sheet_free(&on.sheet);
    return status;
}
