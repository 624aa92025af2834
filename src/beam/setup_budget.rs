//! The parts of the uncertainty that come from where things stand: marks, wall fit, lens and every set-up entry.
//!
//! Each part is the exact geometry evaluated twice: with the entry as stated and moved by its standard uncertainty.

use crate::bay::LampSetup;
use crate::measured::Budget;
use crate::units::{AnglePoint, Mm, Percent, WallPoint};
use crate::wall::{WallView, geometry};
use nalgebra::Vector2;

/// Which of the two angles of a direction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Component {
    /// Horizontal.
    H,
    /// Vertical.
    V,
}

fn pick(angle: AnglePoint, component: Component) -> f64 {
    match component {
        Component::H => angle.h.get(),
        Component::V => angle.v.get(),
    }
}

/// Adds the parts of `component` of the direction `at`.
pub fn add_geometry(budget: &mut Budget, view: &WallView, setup: &LampSetup, at: AnglePoint, component: Component) {
    const PROBE_MM: f64 = 1.0;
    let Some(wall) = geometry::wall_point(setup, at) else { return };
    let here = pick(geometry::direction(setup, wall), component);
    let along = |dx: f64, dy: f64| {
        (pick(geometry::direction(setup, WallPoint::new(wall.x_mm + dx, wall.y_mm + dy)), component) - here) / PROBE_MM
    };
    let gradient = Vector2::new(along(PROBE_MM, 0.0), along(0.0, PROBE_MM));
    let spread = view.spread(wall);
    for (name, covariance) in [("marks", spread.marks), ("wall fit", spread.image), ("lens", spread.lens)] {
        budget.add(name, (gradient.transpose() * covariance * gradient)[(0, 0)].max(0.0).sqrt());
    }
    let moved = |other: LampSetup| pick(geometry::direction(&other, wall), component) - here;
    let height = Mm::new(setup.height.get() + setup.height_sigma_mm);
    budget.add("height", moved(LampSetup { height, ..*setup }));
    let x = Mm::new(setup.x.get() + setup.offset_sigma_mm);
    budget.add("offset", moved(LampSetup { x, ..*setup }));
    let distance = Mm::new(setup.distance.get() + setup.distance_sigma_mm);
    budget.add("distance", moved(LampSetup { distance, ..*setup }));
    let mut floor = setup.floor;
    floor.slope = Percent::new(floor.slope.get() + setup.floor_sigma_percent);
    budget.add("floor", moved(LampSetup { floor, ..*setup }));
    let vehicle_yaw_deg = setup.vehicle_yaw_deg + setup.yaw_sigma_deg;
    budget.add("vehicle yaw", moved(LampSetup { vehicle_yaw_deg, ..*setup }));
}
