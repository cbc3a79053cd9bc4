/// What the files of the body plan share: where everything stands on the plan, in mm of the animal. Internal.

#ifndef RLV_BODY_PLAN_PARTS_H
#define RLV_BODY_PLAN_PARTS_H

#include "body_plan.h"
#include "key.h"

/// An element on the plan. Places are along the axis, and across from its row's line, down the page.
typedef struct plan_plate
{
    size_t element;
    bool placed; ///< it has a life position; else it lies in the tray beneath the rows
    double life_mm, at_mm[2];
    double half_mm[2]; ///< half its length and half its width
    double turn_rad;   ///< of its long axis from the axis, as rlv_state_path takes it
} plan_plate;

/// Every life position: which the unfilled ones are is told apart.
typedef struct plan_place
{
    size_t row;
    int place;
    double life_mm; ///< along the axis
    size_t of;      ///< the element's index, or that of the unfilled position
    bool unfilled, corridor;
    size_t plate; ///< of the element; none where unfilled
} plan_place;

typedef struct plan_lay
{
    size_t row_count; ///< rows that have life positions
    size_t* order;    ///< those, from the top
    size_t* rank;     ///< of a row, from the top
    bool unassigned,
        tray; ///< elements without a life position; there is a tray, of those or for rows that are left out
    size_t plate_count, place_count;
    plan_plate* plate;     ///< those in place first, so that what moved is drawn over them
    plan_place* place;     ///< by row and place
    double (*row_mm)[2];   ///< half length and half width of a row's usual element
    double from_mm, to_mm; ///< what the plan spans along the axis
} plan_lay;

/// Lay a skeleton out, into a zeroed `lay`. Free with plan_lay_free, also after a failure.
rlv_status plan_lay_make(plan_lay* lay, const rlv_skeleton* skeleton, rlv_error* error);
void plan_lay_free(plan_lay* lay);

// mm on A3.
#define PLAN_TRAY 11.0       // beneath the rows: what is not assigned
#define PLAN_SIGN 2.6        // of one without a place
#define PLAN_LEAST_ARROW 1.3 // a shorter motion is not drawn as one

enum
{
    PLAN_WORDS = 256 ///< bytes of a label's words
};

/// A plan on its page, in mm of paper.
typedef struct plan_page
{
    const rlv_body_plan* plan;
    const plan_lay* lay;
    double scale, unit;
    double left, top;   ///< of the rows: where lay->from_mm falls, and the upper edge of the first
    double width, room; ///< of the rows; and what each has above its plates, and beneath them
    bool brief;         ///< labels are ids alone
    bool* numbered;     ///< one a row: its plates have room for their numbers
    double* foot;       ///< one a row: how far its plates reach below its line, mm
    double* aside;      ///< one a plate: how far below the tray's middle it stands, mm, so as to cover no other
                        ///< there; NULL while the page is chosen
    size_t label_count;
    rlv_label* label;
    char (*text)[PLAN_WORDS];    ///< of each label; empty: a thing that labels keep off
    const plan_plate** labelled; ///< what each label names; NULL: no plate
    size_t obstacle_count;
    rlv_box2* obstacle;
} plan_page;

/// Where a distance along the axis falls; a row's line, half its height, and how tall all rows are.
double plan_x(const plan_page* page, double along_mm);
double plan_y(const plan_page* page, size_t row);
double plan_half(const plan_page* page, size_t row);
double plan_tall(const plan_page* page);

/// Where an element is drawn: at its place, or as far towards it as the plan reaches, with `cut` set.
void plan_at(const plan_page* page, const plan_plate* plate, double at[2], bool* cut);

/// The outline of a plate as it lies, as the current path.
void plan_path(rlv_sheet* sheet, const plan_page* page, const plan_plate* plate);

/// The bracket over a group's life positions, with the room of its words.
rlv_box2 plan_bracket(const plan_page* page, size_t group);

/// Gather and place all labels of a page; its arrays are reserved here, and freed by plan_page_free. How many found no
/// room.
rlv_status plan_label(plan_page* page, rlv_sheet* ruler, size_t* left_out, rlv_error* error);
void plan_page_free(plan_page* page);

/// The page of a plan: on its least paper with labels in full, or else brief ones, or on larger paper, until all labels
/// find room. `ruler` is any sheet. Free with plan_page_free, also after a failure.
rlv_status plan_page_make(plan_page* page, const rlv_body_plan* plan, const plan_lay* lay, rlv_sheet* ruler,
                          rlv_paper* paper, size_t* left_out, rlv_error* error);

/// What is on a page, for its key.
rlv_key plan_key(const plan_page* page);

/// How far a motion is drawn on paper, and whether it is drawn at all: what is in place is not said to have moved, and
/// a motion that is shorter than its own head is none on paper.
bool plan_moved(const plan_page* page, const plan_plate* plate, double from[2], double to[2], bool* cut);

/// What is said beside how far an element went, where no arrow shows it; else nothing.
const char* plan_why_no_arrow(const plan_page* page, const plan_plate* plate);

/// What is said beneath a row's name: how many of its elements are in place, and how many lie off it, whose place is
/// not known.
void plan_row_words(char into[64], const rlv_skeleton* of, size_t row);

/// Letters of labels and of place numbers.
extern const rlv_lettering plan_letters;

/// The number of a place, where it is printed: inside all plates in place, and all unfilled positions, of a row that
/// has room for it in each; else beneath the life positions of places 1, 5, 10 and so on. `at` is the middle of its
/// baseline.
bool plan_number(const plan_page* page, const rlv_sheet* ruler, const plan_place* place, char words[16], double at[2]);

#endif
