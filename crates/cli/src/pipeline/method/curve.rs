//! Words about the pruning surface and how its shape was chosen.

use super::{Advised, p_text};
use mixed::JointTest;
use model::{FoldKind, IntensityShape};
use words::{counted, say, text};

/// What the surface is made of.
pub(super) fn surface(advised: &Advised) -> String {
    let curve = match advised.model.shapes.leading() {
        IntensityShape::Quadratic => text!("a quadratic in intensity"),
        IntensityShape::Knotted => text!("a quadratic spline in intensity"),
        IntensityShape::Plateau => text!("a rise in intensity up to a plateau"),
    };
    say!(
        "The effect of pruning is {curve} times a quadratic in lead, zero when nothing is cut, moderated by planting density. Regions differ in it by partial pooling: each region's deviations from the common surface are drawn towards zero as far as the records of all regions suggest. Age, girth, density, variety and measurement basis shift yields beside it; trees, blocks, site x season and block x season combinations have random levels."
    )
}

/// How the families of curves were weighed, and whether class means depart from the result.
pub(super) fn shape(advised: &Advised) -> String {
    let shapes = &advised.model.shapes;
    let scores: Vec<String> = shapes
        .scores
        .iter()
        .map(|score| {
            let error = score.rmse.map_or_else(String::new, |rmse| say!("error {rmse:.4}, "));
            let family = match score.shape {
                IntensityShape::Quadratic => text!("quadratic"),
                IntensityShape::Knotted => text!("spline"),
                IntensityShape::Plateau => text!("plateau"),
            };
            say!("{family} {error}weight {:.2}", score.weight)
        })
        .collect();
    let regions: Vec<&str> = shapes
        .trees_left_out
        .iter()
        .filter_map(|&code| Some(advised.model.regions.get(code as usize)?.region.as_str()))
        .collect();
    let trees = (!regions.is_empty()).then(|| {
        say!(
            "in {}, where trees keep their intensity so that a tree's own level carries its effect, each fifth of the trees was predicted from the others",
            regions.join(", ")
        )
    });
    let others = match shapes.folds {
        Some(FoldKind::Season) => Some(text!("each season was predicted from the others")),
        Some(FoldKind::Blocks | FoldKind::Trees) => Some(text!(
            "with fewer than three seasons, each fifth of the blocks was predicted from the others"
        )),
        None => None,
    };
    let all_keep = regions.len() == advised.model.regions.len();
    let left_out: Vec<String> =
        others.filter(|_| !all_keep).map(str::to_owned).into_iter().chain(trees).collect();
    let chosen = match left_out.join("; ") {
        none if none.is_empty() => say!(
            "Too few seasons and blocks are recorded to compare shapes by leaving some out, so the quadratic stands alone."
        ),
        left_out => {
            let sample = shapes.compared_on.map_or_else(String::new, |rows| {
                let rows = counted(rows, text!("tree-season"), text!("tree-seasons"));
                say!(" (among {rows} of trees drawn evenly from the regions, on which the influence of timing and the correlation of errors from season to season are settled too; the curve itself rests on all)")
            });
            say!(
                "To choose the curve in intensity, {left_out}{sample}: {}. In every region the families share the posterior draws by how well they predict there, and a region with few records leans on what the others show (pseudo-Bayesian model averaging with a Bayesian bootstrap over site x season clusters, Yao and others 2018, 2022): close families are averaged, clearly worse ones left out. The weights given are means over regions; fit.json has them by region. The spline has its knots at {:.0} % and {:.0} % and the plateau its knee at about {:.0} % of the canopy, with knees of their own for the regions, drawn from what their records say.",
                scores.join("; "),
                shapes.knots.knots[0] * 100.0,
                shapes.knots.knots[1] * 100.0,
                shapes.knots.knee * 100.0
            )
        }
    };
    let fit = match &advised.model.lack_of_fit {
        Some(lack) => match &lack.test {
            JointTest::Tested { statistic, df_numerator, df_denominator, p_value, .. } => {
                let reading = if *p_value < 0.05 {
                    text!(
                        "the class means depart from the curve, so look at them before trusting it"
                    )
                } else {
                    text!("the class means do not depart from the curve by more than chance")
                };
                say!(
                    " Lack of fit, with free means for {} classes of intensity beside the leading curve: F({df_numerator:.0}, {df_denominator:.0}) = {statistic:.2}, {}: {reading}.",
                    lack.classes,
                    p_text(*p_value)
                )
            }
            _ => say!(" Lack of fit could not be tested."),
        },
        None => {
            say!(" Too few classes of intensity are recorded to test the curve for lack of fit.")
        }
    };
    chosen + &fit
}
