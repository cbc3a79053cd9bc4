#include "report_skeleton_methods.h"

#include "interval.h"
#include "report_page_parts.h"

#include <math.h>
#include <stdio.h>

/// "0.42 mm (0.31 to 0.55)"; "at most 0.9 mm" of what may be none.
static report_text scatter_words(rlv_interval scatter)
{
    report_text words;
    if (scatter.low > 0.0)
        words = report_interval(scatter, "mm");
    else
        snprintf(words.text, sizeof words.text, "at most %s mm, it may be none,", words_figures(scatter.high, 2).text);
    return words;
}

/// How an element is measured, before any order is made of them.
static void put_measuring(rlv_page* p)
{
    page_fact(
        p, "An element",
        "Position: the centroid of the area that its outline of points encloses; of a part of a mesh, that of its "
        "longest border; of landmarks alone, the middle between opposite ones. The sd of a point is recorded with it, "
        "and taken as known; where nine points or more are rougher about a smooth closed curve than that, all is "
        "widened by the Birge ratio (R. T. Birge, Phys. Rev. 40, 1932). Pole: the outline’s vector area, which by "
        "Stokes’ theorem is the mean normal of whatever surface it bounds. External face: the end of the pole that "
        "anterior cross left points to, or on which the landmark ‘apex’ stands. Long axis: from the landmark posterior "
        "to anterior, else across that from right to left; without landmarks the outline’s longer axis by second "
        "moments of area. Length and width: extents along it and across, less what noise adds to the outermost of many "
        "points. The errors of position and attitude are those of the points, carried to first order, each "
        "coordinate moved to either side by √3 sds; those of the stage’s pose, and of what one place on a scan is off "
        "by beside it, are added. Sightings at several stages are weighed by their inverse covariances.");
}

static void put_order(rlv_page* p, const history_articulation* a)
{
    report_page_tell(
        p, "Order of the skeleton",
        "A body axis that all rows share, with the frame that turns least along it (W. Wang, B. Jüttler, D. Zheng, Y. "
        "Liu, ACM Trans. Graph. 27, 2008), and for each row a smooth distance along it, offset and attitude, place by "
        "place, by penalised least squares (P. H. C. Eilers, B. D. Marx, Statist. Sci. 11, 1996). How smooth, and how "
        "much elements scatter about it by nature, is estimated by restricted likelihood (H. D. Patterson, R. "
        "Thompson, "
        "Biometrika 58, 1971; D. Ruppert, M. P. Wand, R. J. Carroll, Semiparametric Regression, 2003), which also "
        "tells "
        "how unsure a prediction is (G. Wahba, J. R. Statist. Soc. B 45, 1983). Here elements scatter by %s along the "
        "body and %s across it (sd, each axis; along it uneven steps and scatter look alike). Only elements that are "
        "in place make the order: the first fit "
        "weighs "
        "them by the inverse of their distance, then those that a test rejects are left out, again and again, and let "
        "back in where it no longer does. A row with fewer than %d elements of a known place is left out.",
        scatter_words(a->fit.scatter_mm[0]).text, scatter_words(a->fit.scatter_mm[1]).text, RLV_ARTICULATION_LEAST);
    if (a->elements->history->specimen->compared_file_count > 0)
        report_page_tell(
            p, "Comparative specimens",
            "A row that was measured on a comparative specimen too has that animal’s distances along its axis, fitted "
            "as its own order is and smoothed, moved and scaled, and what it departs from them, which is estimated "
            "(I. N. Dryden, K. V. Mardia, Statistical Shape Analysis, 1998). Where a parabola and a cubic take off "
            "more than uneven steps of both animals, scatter, bending and a change of the pitch by a twentieth allow "
            "(p below 0.01), the row is fitted without. With its table a row is used from %d elements on.",
            RLV_COMPARED_LEAST);
}

static void put_tests(rlv_page* p, const history_articulation* a)
{
    report_page_tell(
        p, "What has moved",
        "Each element is held against its life position as all others tell it, itself left out: an F test of its place "
        "and, where its attitude is known, one of that. R. J. Simes’ rule (Biometrika 73, 1986) makes one p of the "
        "two. "
        "The %zu p are adjusted together (Y. Benjamini, Y. Hochberg, J. R. Statist. Soc. B 57, 1995) so that of those "
        "told below 0.05 the share that is in place after all, the false discovery rate, is 5 %% at most on the mean; "
        "no "
        "element’s own risk is told by that. Which of the two tests stands is judged at the level that is left (Y. "
        "Benjamini, M. Bogomolov, J. R. Statist. Soc. B 76, 2014). A state is the first that holds of inverted (the "
        "external face looks the other way), rotated and shifted. The interval of a shift comes from the non-central "
        "chi-square distribution, and holds measuring, natural scatter and the life position; so does the shift told, "
        "which is no difference of two places. Of nothing something is measured, so that such a difference is too long "
        "on the mean: told is the true distance that makes so long a difference likeliest (G. J. Feldman, R. D. "
        "Cousins, Phys. Rev. D 57, 1998), which is shorter than it, and 0 where errors alone may have made it. So are "
        "turns and tilts told. Its parts along, across and out are the difference itself. The interval is of one "
        "element by "
        "itself, as p is not: where the test of its place rejects that it lies there, it does not begin at 0.",
        a->fit.tests);
    report_page_tell(
        p, "Stretches",
        "Stretches of a row that moved together are sought before single elements. A window of neighbours that is "
        "shifted as one, a step of the spacing that is made free (a natural gap), both, and neither stand against each "
        "other by the likelihood of their row, each at the smoothness that suits it best within what all rows bear. "
        "The clearest window is taken out, and all is fitted anew: it stands where its p, times the number of windows "
        "looked at, is below %g both as it was found and of its motion then. Its elements are shifted with it.",
        RLV_ARTICULATION_GROUP_LEVEL);
}

static void put_word(rlv_page* p)
{
    page_fact(
        p, "Articulated, associated, isolated",
        "Articulated: three quarters of the elements, at least, are in place. Associated: three quarters lie within a "
        "fifth of the body’s length, from the first place of all rows to the last, of their life position. Isolated: "
        "neither. These bounds are the program’s own. An "
        "element off its row counts as displaced, and as far as the free place nearest to it. The share has the exact "
        "binomial interval (C. J. Clopper, E. S. Pearson, Biometrika 26, 1934) of an effective number of elements (E. "
        "L. "
        "Korn, B. I. Graubard, Survey Methodology 24, 1998), in which a stretch that moved together weighs as one "
        "event "
        "(L. Kish, Survey Sampling, 1965); in the shares along the body each element counts by itself.");
}

static void put_places(rlv_page* p)
{
    page_fact(
        p, "Places",
        "A row whose places the record does not tell is counted: its order is the longest path of the least tree over "
        "all distances (R. C. Prim, Bell Syst. Tech. J. 36, 1957), its places the likeliest count under the row’s own "
        "pitch (A. J. Viterbi, IEEE Trans. Inf. Theory 13, 1967), and how sure each is comes from sums over all counts "
        "(L. E. Baum and others, Ann. Math. Statist. 41, 1970). Spacing does not tell how many places lie before a "
        "row’s "
        "first element: where nothing else does, the row of the other side is asked, and the whole count is little "
        "sure "
        "though each step of it is. An element beside its row is given one of the free places where that is clear; "
        "where each that the record leaves it holds it outside the 95 % "
        "region of the place, the element’s own errors in it, it lies off its row.");
    page_fact(
        p, "Free places",
        "A life position without an element is told with its covariance, natural scatter included; its 95 % region "
        "goes "
        "by three times the F quantile. Beyond a row’s last element the order is carried on, and its variance widened: "
        "a "
        "corridor. A place is inside the rock where most of 26 rays from it meet the surface of the last stage from "
        "within; its depth is the distance to the nearest place of that surface, with the errors of both; where the "
        "block holds it no more, the stages before say since when.");
}

static void put_loose(rlv_page* p, const history_articulation* a)
{
    if (a->stray_count == 0)
        return;
    report_page_tell(
        p, "Loose elements",
        "T. Bayes’ rule, for all %zu loose elements %s. Before anything is known each free place that the record "
        "leaves an "
        "element is as likely as any other, and in %s it belongs to none (from memory, no source). The size of one "
        "from "
        "the spoil is held against a straight line through those of the row’s nearest eight elements (Student’s t). "
        "Its place counts by "
        "where it lies, or by the part of the rock that its bag came from: in life position with the share in place, "
        "else in a normal cloud as wide as displaced elements lie off. What lies off its row was carried, how far is "
        "not known: that is summed over, by steps of the root of two from half a pitch to sixteen. So is whether a "
        "current carried all one way in the level, as likely before anything is known as not, and which way: then four "
        "in five went like the others, about one motion and 0.3 or 0.5 of it to each side, the rest anyhow (from "
        "memory, no source); motions of what kept its place say by their direction which ways were likely. Its size, "
        "all of which shows, is not held against that of a row of which less may show. No two had one place.",
        a->stray_count,
        a->stray_count <= RLV_STRAYS_TOGETHER ? "at once, summed over all assignments" : "each by itself",
        words_share(RLV_STRAY_NONE).text);
}

static void put_disturbance(rlv_page* p)
{
    report_page_tell(
        p, "Which way they went",
        "A motion is that of an element whose shift’s interval does not hold 0, or of a stretch, once. It has a "
        "direction "
        "in the level (of the bedding, where that is known) where its 95 %% region there does not hold 0 (H. "
        "Hotelling’s "
        "T²), and weighs by how sure that is. Uniformity is tested by Lord Rayleigh’s test in the level, by R. A. "
        "Fisher’s statistics in space, and by C. Bingham’s test for axes; orientation tensors are N. H. Woodcock’s "
        "(Geol. "
        "Soc. Am. Bull. 88, 1977). Fewer than %d motions, or axes, are not summed up, and an axis whose 95 %% interval "
        "is "
        "wider than 90° to either side counts as unknown. A motion is told as not with a current where its direction "
        "in the level is off that of the current by more than %.2f times the root of the sum of squares of its own sd, "
        "the current’s, and %.0f°, by which what a current carries scatters at the most.",
        RLV_DISTURBANCE_LEAST, RLV_HALF_95, RLV_CARRIED_SCATTER * 180.0 / M_PI);
    page_fact(
        p, "What the skeleton cannot tell",
        "A slip of all rows together looks as the animal’s own curve does. A stretch that reaches the end of its "
        "row, and a motion along the body by whole places, are not told either. Nor is every stretch that may be: "
        "of eight neighbours that slid by 6 mm in simulated animals whose pitch is 8 % uneven, 96 % are found "
        "where they went across the body, and 60 % where along it.");
}

void report_skeleton_methods(rlv_page* p, const history_articulation* a)
{
    put_measuring(p);
    put_order(p, a);
    put_tests(p, a);
    put_word(p);
    put_places(p);
    put_loose(p, a);
    put_disturbance(p);
}
