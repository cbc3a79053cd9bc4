/// What is printed around a picture: title, scale bar, axes, legend and small print.
///
/// The picture is the sheet, and its marks are those of all sheets (marks.h). Their size follows the page's unit, a
/// hundredth of its height (or of three quarters of its width, where that is less).

#ifndef RLV_LETTERING_H
#define RLV_LETTERING_H

#include "camera.h"
#include "marks.h"
#include "paint.h"
#include "picture.h"
#include "view.h"

/// The scale bar of a view, as rlv_mark_bar draws it, and where.
typedef struct rlv_scale_bar
{
    rlv_bar bar;
    double scale;           ///< paper over thing
    double left_mm, top_mm; ///< of its marks, on the page
    double pixel_mm;        ///< of the picture, on the page
} rlv_scale_bar;
rlv_scale_bar rlv_scale_bar_of(size_t width, size_t height, double width_mm);

/// The paper scale of a view: how much larger (over 1) or smaller the page is than the thing when printed at 100 %. The
/// largest of ISO 5455:1979 (1, 2 or 5 times a power of ten) at which the page is no larger than A3.
double rlv_paper_scale(size_t width, size_t height, double width_mm);

/// Print all of it on a picture.
rlv_status rlv_letter(rlv_picture* picture, const rlv_camera* camera, const rlv_overlay* overlay,
                      const rlv_view_options* options, const rlv_paint_seen* seen, rlv_error* error);

#endif
