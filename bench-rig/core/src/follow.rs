//! The plate's setpoint from the grip's output, in whole numbers: what an engine controller does. It does not know the loop behind it.

use trackpair_protocol::mapping::{Mapping, Point};

/// Ratios beyond these are not an output of a sensor, millionths of the supply.
const RATIO_PPM: core::ops::RangeInclusive<i32> = -100_000..=1_100_000;

/// Checks a mapping against the plate's travel: none or two points and more, outputs rising, angles not falling.
///
/// # Errors
/// Number of the first point out of range; 0 for a single one.
pub fn validate(mapping: &Mapping, travel_mdeg: i32) -> Result<(), u8> {
    let points = mapping.points();
    if points.len() == 1 {
        return Err(0);
    }
    for (number, point) in points.iter().enumerate() {
        let after =
            |before: &Point| point.grip_ppm > before.grip_ppm && point.plate_mdeg >= before.plate_mdeg;
        let in_order = number == 0 || points.get(number - 1).is_some_and(after);
        let fits = RATIO_PPM.contains(&point.grip_ppm) && (0..=travel_mdeg).contains(&point.plate_mdeg);
        if !in_order || !fits {
            return Err(number as u8);
        }
    }
    Ok(())
}

/// The plate's setpoint at an output of the grip, mdeg; none for a mapping without points.
pub fn setpoint_mdeg(mapping: &Mapping, grip_ppm: i32) -> Option<i32> {
    let points = mapping.points();
    let (first, last) = (points.first()?, points.last()?);
    if grip_ppm <= first.grip_ppm {
        return Some(first.plate_mdeg);
    }
    let between = points.windows(2).find(|pair| grip_ppm <= pair[1].grip_ppm);
    let Some([from, to]) = between else { return Some(last.plate_mdeg) };
    let (gone, way) =
        (i64::from(grip_ppm) - i64::from(from.grip_ppm), i64::from(to.grip_ppm) - i64::from(from.grip_ppm));
    let rise = i64::from(to.plate_mdeg) - i64::from(from.plate_mdeg);
    Some(from.plate_mdeg + (rise * gone / way.max(1)) as i32)
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    fn mapping(points: &[(i32, i32)]) -> Mapping {
        let points: Vec<Point> =
            points.iter().map(|&(grip_ppm, plate_mdeg)| Point { grip_ppm, plate_mdeg }).collect();
        Mapping::from_slice(&points).expect("fits")
    }

    #[test]
    fn the_setpoint_lies_on_straight_lines_between_the_points_and_stays_outside() {
        let curve = mapping(&[(100_000, 0), (500_000, 20_000), (900_000, 84_000)]);
        let at = |ppm| setpoint_mdeg(&curve, ppm);
        assert_eq!([at(0), at(100_000), at(300_000), at(500_000)], [0, 0, 10_000, 20_000].map(Some));
        assert_eq!([at(700_000), at(900_000), at(2_000_000)], [52_000, 84_000, 84_000].map(Some));
        assert_eq!(setpoint_mdeg(&Mapping::EMPTY, 500_000), None);
    }

    #[test]
    fn a_mapping_that_turns_back_is_refused_with_the_number_of_its_first_bad_point() {
        let check = |points: &[(i32, i32)]| validate(&mapping(points), 84_000);
        assert_eq!(check(&[]), Ok(()));
        assert_eq!(check(&[(100_000, 0), (900_000, 84_000)]), Ok(()));
        assert_eq!(check(&[(100_000, 0), (500_000, 30_000), (900_000, 30_000)]), Ok(()));
        assert_eq!(check(&[(100_000, 0)]), Err(0));
        assert_eq!(check(&[(100_000, 0), (100_000, 10)]), Err(1));
        assert_eq!(check(&[(100_000, 9), (500_000, 20), (900_000, 19)]), Err(2));
        assert_eq!(check(&[(100_000, -1), (900_000, 84_000)]), Err(0));
        assert_eq!(check(&[(100_000, 0), (900_000, 84_001)]), Err(1));
        assert_eq!(check(&[(100_000, 0), (2_000_000, 84_000)]), Err(1));
    }
}
