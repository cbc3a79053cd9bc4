/// What a report says of its methods, and of what to be careful about.

#include "report_page.h"

static const char* const methods[][2] = {
    {"Units and scale",
     "A unit is never guessed. A mesh's scale is what its record says, or that of its scale bars by weighted least "
     "squares; every bar is held against the others. Where bars disagree by more than they should, the scale's sd is "
     "widened by the Birge ratio (R. T. Birge, Phys. Rev. 40, 1932)."},
    {"Alignment",
     "Stages are brought together from the surface that held still, without tie points: local frames with descriptors "
     "give "
     "candidate poses, which are refined from point to plane (Y. Chen, G. Medioni, Image and Vision Computing 10, "
     "1992) with "
     "a robust weight. What changed is then found, left out, and the refinement done again. All alignments are solved "
     "together for one pose a stage (G. Grisetti et al., IEEE Intelligent Transportation Systems Magazine 2, 2010)."},
    {"Change", "Regions are found where depth along the normal, smoothed at three scales, stands out of the noise by "
               "4.5 sd. Inside "
               "them solid columns of both stages are summed along three axes, signed."},
    {"Intervals",
     "The residuals on the surface that held still are a random field: motion, noise, and slow warp of the scans, "
     "estimated by restricted likelihood (H. D. Patterson, R. Thompson, Biometrika 58, 1971). Block kriging (N. "
     "Cressie, "
     "Statistics for Spatial Data, 1993) tells what the same field did under the regions; it is subtracted, and its "
     "uncertainty carried. Intervals hold scale, alignment, noise, warp and the method, and are 95 % ones. The "
     "detection "
     "limit is of the same model, by area (after D. Lague, N. Brodu, J. Leroux, ISPRS Journal 82, 2013)."},
    {"Classes", "Bone is what was marked as bone on the stage before; a piece is what was marked as its. All else that "
                "went is told as "
                "matrix, also bone that had never shown."},
    {"Grams and balances", "Grams are volume times recorded density. Errors are carried to first order (JCGM 100:2008, "
                           "section 5); steps are added "
                           "with their halves in quadrature, and a scale or density that they share as one error. A "
                           "balance closes where nothing "
                           "lies within its 95 % interval."},
    {"Rates and hours", "Rates are least squares over the recorded steps, none below nothing (C. L. Lawson, R. J. "
                        "Hanson, Solving Least Squares "
                        "Problems, 1974), with the scatter from hour to hour (R. C. Paule, J. Mandel, J. Res. NBS 87, "
                        "1982). Hours are a volume "
                        "over a rate, with E. C. Fieller's interval (J. R. Stat. Soc. B 16, 1954)."},
    {"Figures", "A number is rounded at the first figure of its standard uncertainty, or at the second where the first "
                "is a 1 (JCGM "
                "100:2008, 7.2.6); the ends of an interval outward. CSV and JSON hold them unrounded."},
};

void report_methods(rlv_page* p)
{
    page_section(p, "methods", "Methods");
    for (size_t i = 0; i < sizeof methods / sizeof *methods; i++)
        page_fact(p, methods[i][0], methods[i][1]);
}

void report_cautions(rlv_page* p)
{
    page_section(p, "cautions", "Cautions");
    page_box(
        p, PAGE_WARNING,
        "Dust: stone dust can hold silica, and every millilitre removed is dust made. Solvents, resins and acids harm "
        "too. Local exposure limits and the maker's data sheets decide what to wear and how to work.");
    page_box(p, PAGE_WARNING,
             "Lifting: a block can tip or part along a joint, and its centre of mass moves as matrix comes off. A "
             "qualified person decides how it is lifted and held.");
    page_box(p, PAGE_CAUTION,
             "What has been cut cannot be put back. Bone that never showed cannot be told from matrix by a mesh: check "
             "every region against the specimen, the small ones first.");
    page_box(p, PAGE_CAUTION, "Every figure here is advice to a trained person, not a certificate.");
}
