//! Where the lines and dots of a hatching lie in a rectangle. It does not draw them.

use crate::report::svg::picture::{Point, Ruling};

/// Lines side by side, in coordinates that are turned as the ruling is.
#[derive(Clone, Debug, PartialEq)]
pub struct Lines {
    /// The left edge of each.
    pub lefts: Vec<f64>,
    /// Where all begin and end.
    pub ends: (f64, f64),
}

/// The lines that touch a rectangle; what of them lies outside is to be cut off. None where there is no rectangle.
pub fn lines(at: Point, size: Point, ruling: Ruling) -> Option<Lines> {
    let corners = corners(at, size)?;
    let (sin, cos) = ruling.turn.to_radians().sin_cos();
    let (low, high) = range(corners.map(|(x, y)| x * cos + y * sin));
    let ends = range(corners.map(|(x, y)| y * cos - x * sin));
    // A line begins at the left edge of its cell.
    let first = (low / ruling.spacing).floor() as i64;
    let last = (high / ruling.spacing).floor() as i64;
    Some(Lines { lefts: (first..=last).map(|k| k as f64 * ruling.spacing).collect(), ends })
}

/// The rows of dots: from the first dot to the right edge.
pub fn rows(at: Point, size: Point, ruling: Ruling) -> Vec<(Point, Point)> {
    let Some([_, .., (right, lower)]) = corners(at, size) else { return Vec::new() };
    let spacing = ruling.spacing;
    let middle = |from: f64| (from / spacing - 0.5).ceil() * spacing + spacing / 2.0;
    let x = middle(at.0);
    let ys = std::iter::successors(Some(middle(at.1)), |y| Some(y + spacing)).take_while(|y| *y <= lower);
    if x <= right { ys.map(|y| ((x, y), (right, y))).collect() } else { Vec::new() }
}

fn corners(at: Point, size: Point) -> Option<[Point; 4]> {
    let finite = [at.0, at.1, size.0, size.1].into_iter().all(f64::is_finite);
    let all = [(0.0, 0.0), (size.0, 0.0), (0.0, size.1), size];
    finite.then(|| all.map(|c| (at.0 + c.0, at.1 + c.1)))
}

fn range(of: [f64; 4]) -> (f64, f64) {
    (of.into_iter().fold(f64::INFINITY, f64::min), of.into_iter().fold(f64::NEG_INFINITY, f64::max))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::svg::picture::Hatch;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn every_place_of_a_rectangle_has_a_line_near_and_none_is_far_off(
            x in 0.0..700.0_f64, y in 0.0..300.0_f64, width in 0.5..700.0_f64, height in 0.5..300.0_f64,
            place in (0.0..1.0_f64, 0.0..1.0_f64),
        ) {
            for hatch in [Hatch::Forbidden, Hatch::Finding] {
                let ruling = hatch.ruling();
                let found = lines((x, y), (width, height), ruling).unwrap();
                let (sin, cos) = ruling.turn.to_radians().sin_cos();
                let (px, py) = (x + place.0 * width, y + place.1 * height);
                let (u, v) = (px * cos + py * sin, py * cos - px * sin);
                prop_assert!(found.lefts.iter().any(|left| (0.0..=ruling.spacing).contains(&(u - left))));
                prop_assert!(v >= found.ends.0 && v <= found.ends.1);
                let most = (width.hypot(height) / ruling.spacing) as usize + 2;
                prop_assert!(found.lefts.len() <= most, "{} of {}", found.lefts.len(), most);
            }
        }

        #[test]
        fn dots_lie_inside_and_on_the_grid_of_the_picture(
            x in 0.0..700.0_f64, y in 0.0..300.0_f64, width in 0.5..700.0_f64, height in 0.5..300.0_f64,
        ) {
            for (from, to) in rows((x, y), (width, height), Hatch::Gap.ruling()) {
                prop_assert!(from.0 >= x - 1e-9 && from.1 >= y - 1e-9 && from.1 <= y + height, "{:?}", from);
                prop_assert!(to.0 <= x + width && to.1 == from.1);
                prop_assert!((from.0 - 2.5) % 5.0 < 1e-9 && (from.1 - 2.5) % 5.0 < 1e-9, "{:?}", from);
            }
        }
    }

    #[test]
    fn a_square_has_the_rows_that_its_spacing_gives_and_nothing_has_none() {
        assert_eq!(rows((0.0, 0.0), (100.0, 100.0), Hatch::Gap.ruling()).len(), 20);
        assert_eq!(rows((f64::NAN, 0.0), (9.0, 9.0), Hatch::Gap.ruling()), []);
        assert_eq!(lines((0.0, 0.0), (f64::INFINITY, 9.0), Hatch::Finding.ruling()), None);
    }
}
