#include "rejoin_pieces_record.h"

#include "rejoin_record.h"

#include <math.h>

// --- Tables ----------------------------------------------------------------------------------------------------------

static void put_gap(rlv_table* t, bool known, const rlv_rejoin_gap* gap)
{
    if (known)
    {
        table_interval(t, gap->p95_mm);
        table_interval(t, gap->volume_mm3);
        return;
    }
    table_none(t);
    table_none(t);
}

rlv_table rejoin_joints_table(const rejoin_pieces* pieces)
{
    static const table_column column[] = {
        {"piece", NULL, "piece", TABLE_TEXT, "The one of the two that went on later."},
        {"block", NULL, "on", TABLE_TEXT, "The other: the block, or a piece."},
        {"carries", NULL, "went on by it", TABLE_FLAG, "Whether the piece went on by this joint."},
        {"counted", NULL, "counted", TABLE_FLAG, "Whether it is in the solution of all together."},
        {"rejected", NULL, NULL, TABLE_FLAG, "Whether it contradicts the others, and was left out."},
        {"suspect", NULL, NULL, TABLE_FLAG, "Whether it is one of several of which one must be wrong."},
        {"verdict", NULL, "verdict", TABLE_TEXT,
         "fits; loose: the joint hardly holds the two; none: they lie side by side, and do not belong together there."},
        {"fit", NULL, NULL, TABLE_NUMBER, "How much of one face’s relief the other repeats, 0 to 1."},
        {"joint", "mm2", "outline", TABLE_NUMBER, "Area of the joint’s outline."},
        {"alone_p95", "mm", NULL, TABLE_INTERVAL, "95 % of the joint is no wider where it is closed by itself."},
        {"alone_volume", "mm3", NULL, TABLE_INTERVAL, "Gap fill there."},
        {"together_p95", "mm", "together 95 %", TABLE_INTERVAL,
         "95 % of the joint is no wider with all pieces where they were solved together."},
        {"together_volume", "mm3", "fill", TABLE_INTERVAL, "Gap fill there."},
    };
    rlv_table t = table_of("rejoin_joints", "Joints of several pieces", sizeof column / sizeof *column, column);
    t.dash = "A dash: the joint is not in the solution of all together.";
    for (size_t j = 0; j < pieces->of.joint_count; j++)
    {
        const rlv_several_joint* joint = &pieces->of.joint[j];
        const rlv_rejoin* of = rejoin_pieces_joint(pieces, joint);
        table_text(&t, rejoin_pieces_from(pieces, joint));
        table_text(&t, rejoin_pieces_into(pieces, joint));
        table_flag(&t, joint->carries);
        table_flag(&t, joint->counted);
        table_flag(&t, joint->rejected);
        table_flag(&t, joint->suspect);
        table_text(&t, rejoin_verdict_name(of->verdict));
        table_number(&t, of->fit, 0.0);
        table_number(&t, of->joint_mm2, 0.005 * of->joint_mm2);
        put_gap(&t, of->verdict != RLV_REJOIN_NONE, &of->gap_after);
        put_gap(&t, joint->together_known, &joint->together);
    }
    return t;
}

rlv_table rejoin_rings_table(const rejoin_pieces* pieces)
{
    static const table_column column[] = {
        {"ring", NULL, "ring", TABLE_TEXT, "The bodies of the ring, in order."},
        {"piece", NULL, NULL, TABLE_TEXT, "Of the joint at which it is told: the one that went on later."},
        {"block", NULL, NULL, TABLE_TEXT, "The other."},
        {"closes", NULL, "closes", TABLE_FLAG, "Whether it misses by no more than its joints let one expect."},
        {"miss", "mm", "misses by", TABLE_NUMBER, "How far the bodies miss each other at that joint’s middle."},
        {"miss", "deg", "and", TABLE_NUMBER, "The angle."},
        {"expected", "mm", "expected", TABLE_NUMBER,
         "Root mean square of what the joints’ covariances let one expect."},
        {"expected", "deg", "and", TABLE_NUMBER, "The same of the angle."},
        {"p", NULL, "p", TABLE_NUMBER, "Of as much or more."},
    };
    rlv_table t = table_of("rejoin_rings", "Rings of pieces", sizeof column / sizeof *column, column);
    for (size_t r = 0; r < pieces->of.ring_count; r++)
    {
        const rlv_several_ring* ring = &pieces->of.ring[r];
        const rlv_several_joint* joint = &pieces->of.joint[ring->joint];
        table_text(&t, rejoin_ring_name(pieces, ring).text);
        table_text(&t, rejoin_pieces_from(pieces, joint));
        table_text(&t, rejoin_pieces_into(pieces, joint));
        table_flag(&t, rejoin_ring_closes(ring));
        table_figures(&t, ring->miss_mm, 2);
        table_figures(&t, ring->miss_deg, 2);
        table_figures(&t, ring->expected_mm, 2);
        table_figures(&t, ring->expected_deg, 2);
        table_figures(&t, ring->p, 2);
    }
    return t;
}

// --- JSON ------------------------------------------------------------------------------------------------------------

static void record_joint(json_t* row, const rejoin_pieces* pieces, const rlv_several_joint* joint)
{
    const rlv_rejoin* of = rejoin_pieces_joint(pieces, joint);
    record_text(row, "piece", rejoin_pieces_from(pieces, joint));
    record_text(row, "block", rejoin_pieces_into(pieces, joint));
    record_flag(row, "carries", joint->carries);
    record_flag(row, "counted", joint->counted);
    record_flag(row, "rejected", joint->rejected);
    record_flag(row, "suspect", joint->suspect);
    record_text(row, "verdict", rejoin_verdict_name(of->verdict));
    record_text(row, "reason", of->reason[0] != '\0' ? of->reason : NULL);
    record_real(row, "fit", of->fit);
    record_place(row, "middle_mm", of->joint_mm);
    record_place(row, "normal", of->joint_normal);
    record_real(row, "area_mm2", of->joint_mm2);
    rejoin_record_gap(row, "gap_alone", of->verdict != RLV_REJOIN_NONE, &of->gap_after);
    rejoin_record_gap(row, "gap_together", joint->together_known, &joint->together);
}

static void record_ring(json_t* row, const rejoin_pieces* pieces, const rlv_several_ring* ring)
{
    const rlv_several_joint* joint = &pieces->of.joint[ring->joint];
    json_t* bodies = record_list(row, "bodies");
    for (size_t n = 0; n < ring->body_count; n++)
        record_line(bodies, rejoin_pieces_name(pieces, ring->body[n]));
    record_text(row, "piece", rejoin_pieces_from(pieces, joint));
    record_text(row, "block", rejoin_pieces_into(pieces, joint));
    record_flag(row, "closes", rejoin_ring_closes(ring));
    record_real(row, "miss_mm", ring->miss_mm);
    record_real(row, "miss_deg", ring->miss_deg);
    record_real(row, "expected_mm", ring->expected_mm);
    record_real(row, "expected_deg", ring->expected_deg);
    record_real(row, "p", ring->p);
}

void rejoin_pieces_record(json_t* object, const rejoin_pieces* pieces, bool measured)
{
    json_t* list = record_list(object, "pieces");
    for (size_t k = 0; k < pieces->count; k++)
        rejoin_pieces_record_piece(record_row(list), pieces->told[k]);
    if (measured)
    {
        rejoin_pieces_record_whole(object, pieces);
        return;
    }
    record_null(object, "joints");
    record_null(object, "rings");
}

void rejoin_pieces_record_piece(json_t* row, const rejoin_told* told)
{
    rejoin_record(row, told);
    record_text(row, "why", told->why[0] != '\0' ? told->why : NULL);
}

void rejoin_pieces_record_whole(json_t* object, const rejoin_pieces* pieces)
{
    json_t* joints = record_list(object, "joints");
    for (size_t j = 0; j < pieces->of.joint_count; j++)
        record_joint(record_row(joints), pieces, &pieces->of.joint[j]);
    json_t* rings = record_list(object, "rings");
    for (size_t r = 0; r < pieces->of.ring_count; r++)
        record_ring(record_row(rings), pieces, &pieces->of.ring[r]);
    record_flag(object, "contradictory", pieces->of.contradictory);
    record_flag(object, "widened", pieces->of.inflated);
}
