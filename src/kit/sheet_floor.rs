//! The floor's plan: centreline, line of the lamps, where the front wheels stand, and what must be level.

use super::sheet_page::{Anchor, BLACK, DIM, Ink, LIGHT, Page, Paper, Pen, Spot, Style, rectangle};
use super::sheet_plan::{Plan, arrow, heading, level_dimension, upright_dimension};
use crate::bay::Bay;
use crate::units::Mm;

/// Standing area of a car: length and width over both tracks, and the widest gap between them, mm.
/// Source: ISO 10604:1993, 4.1 to 4.3 (as its public preview prints them; the edition of 2026 replaces it).
const AREA_LENGTH: f64 = 4000.0;
const AREA_WIDTH: f64 = 2000.0;
const AREA_GAP: f64 = 900.0;
/// Wheels as they are drawn: length and width, mm.
const WHEEL: Spot = (620.0, 200.0);
/// Wall that is drawn to each side of the centreline, mm.
const HALF_WALL: f64 = 1500.0;
/// Room on the page above the plan, and below it for dimensions and words, mm.
const TOP: f64 = 34.0;
const BELOW: f64 = 92.0;

/// What is published about the floor, each with its source. None of it was read in the primary text of the place's law.
/// ISO 10604:1993 by its public preview; <https://www.evs.ee/en/iso-10604-2026> for the edition that replaces it. The German
/// figures at second hand: <http://www.autoservicepraxis.de/eine-frage-der-einstellung-1718203.html>,
/// <http://www.repmaster.de/news/articleid/24>,
/// <https://autoservicepraxis.de/nachrichten/kfz-werkstatt/alles-fuer-den-schein-3439568>.
const FACTS: [&str; 3] = [
    "ISO 10604:1993, 4.1 to 4.3 (public preview; replaced by the edition of 2026): tracks for cars at least 4 m long and \
     2 m wide over both, gap at most 0.9 m.",
    "German test places (trade press, autoservicepraxis.de and repmaster.de): common slope at most 1.5 %, unevenness at \
     most 1 mm per metre, both surfaces parallel, area for cars at least 2.0 x 4.0 m, gap at most 1.4 m, checked again \
     every 24 months.",
    "Tilt between the wheels' plane and the marks' zero goes into the reading one to one: 0.1 % is 1 mm per metre. Put the \
     slope into the bay file; what is uneven cannot be corrected.",
];

/// What of the vehicle is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FloorVehicle {
    /// From the lamps back to the front axle.
    pub lamp_to_axle: Mm,
    /// Middle to middle of the front wheels.
    pub track: Mm,
}

/// The page.
pub fn floor_plan(bay: &Bay, vehicle: FloorVehicle, paper: Paper) -> Page {
    let mut page = Page::lying(paper);
    let distance = bay.wall.distance.get();
    let axle = vehicle.lamp_to_axle.get();
    heading(&mut page, &format!("Floor plan: {}", bay.name), &format!("bay {}, seen from above, millimetres", bay.id));
    // The plan lies: the wall at the right, x of the page is z of the bay with its zero at the lamps' plane.
    let back = 0.5 * WHEEL.0 - axle - AREA_LENGTH;
    let room = (page.width - 44.0, page.height - TOP - BELOW);
    let scale = Plan::scale_for((distance - back, 2.0 * HALF_WALL), room);
    let spare = (room.0 - (distance - back) / scale).max(0.0);
    let plan = Plan { scale, zero: (26.0 + 0.5 * spare - back / scale, TOP + 0.5 * room.1) };
    page.words((page.width - 12.0, 17.0), format!("scale 1 : {scale:.0}"), Style::bold(5.0).anchored(Anchor::End));
    area(&mut page, plan, axle);
    lines(&mut page, plan, distance, back);
    wheels(&mut page, plan, vehicle);
    let low = plan.at(0.0, -HALF_WALL).1;
    level_dimension(&mut page, low + 9.0, plan.at(0.0, -HALF_WALL), plan.at(distance, -HALF_WALL), distance);
    level_dimension(&mut page, low + 9.0, plan.at(-axle, -0.5 * AREA_WIDTH), plan.at(0.0, -HALF_WALL), axle);
    let behind = plan.at(back, 0.0).0;
    let upper = plan.at(back, 0.5 * AREA_WIDTH);
    upright_dimension(&mut page, behind - 5.0, plan.at(back, -0.5 * AREA_WIDTH), upper, AREA_WIDTH);
    let high = plan.at(0.0, 0.5 * AREA_WIDTH).1 - 5.0;
    let start = plan.at(back, 0.5 * AREA_WIDTH);
    level_dimension(&mut page, high, start, plan.at(back + AREA_LENGTH, 0.5 * AREA_WIDTH), AREA_LENGTH);
    words(&mut page, bay, low + 18.0);
    page
}

/// The tracks on which the wheels stand.
fn area(page: &mut Page, plan: Plan, axle: f64) {
    let front = -axle + 0.5 * WHEEL.0;
    let length = AREA_LENGTH / plan.scale;
    let width = 0.5 * (AREA_WIDTH - AREA_GAP) / plan.scale;
    for top in [0.5 * AREA_WIDTH, -0.5 * AREA_GAP] {
        let corner = plan.at(front - AREA_LENGTH, top);
        page.fill(rectangle(corner, (length, width)).to_vec(), Ink::Grey(232));
        page.rectangle(corner, (length, width), Pen::solid(0.2, DIM));
    }
    // Beside the wheels there is no room for words.
    let free = AREA_LENGTH - 2.0 * WHEEL.0;
    let (x, y) = plan.at(front - AREA_LENGTH + 0.5 * free, 0.0);
    let level = "level, flat to 1 mm per metre";
    page.words((x, y - 2.0), level, Style::bold(3.4).fitted(level, free / plan.scale).anchored(Anchor::Middle));
    let (x, y) = plan.at(-axle, -0.5 * AREA_WIDTH);
    page.words((x - 1.5, y + 5.0), "front wheels", Style::bold(3.4).anchored(Anchor::End));
}

fn lines(page: &mut Page, plan: Plan, distance: f64, back: f64) {
    let (top, foot) = (plan.at(distance, HALF_WALL), plan.at(distance, -HALF_WALL));
    page.fill(rectangle(top, (3.0, foot.1 - top.1)).to_vec(), BLACK);
    page.words(
        (top.0 + 8.0, 0.5 * (top.1 + foot.1)),
        "wall with marks",
        Style::bold(4.0).anchored(Anchor::Middle).upward(),
    );
    let centre = Pen { width: 0.3, ink: BLACK, dash: Some((6.0, 1.5)) };
    page.line((plan.at(back, 0.0).0 - 3.0, plan.zero.1), plan.at(distance, 0.0), centre);
    let between = plan.at(0.5 * distance, 0.0);
    page.words(
        (between.0, between.1 - 1.6),
        "centreline, square to the wall",
        Style::bold(3.4).anchored(Anchor::Middle),
    );
    let keep = "Keep clear. Nobody stands here while a vehicle can move.";
    page.words((between.0, between.1 + 9.0), keep, Style::bold(3.4).anchored(Anchor::Middle));
    page.line(plan.at(0.0, HALF_WALL), plan.at(0.0, -HALF_WALL), Pen::solid(0.7, BLACK));
    let (x, y) = plan.at(0.0, HALF_WALL);
    page.words((x, y - 1.8), "line of the lamps", Style::bold(4.0).anchored(Anchor::Middle));
    let nose = plan.at(0.0, 0.0);
    arrow(page, (nose.0 + 9.0, nose.1), (1.0, 0.0));
}

fn wheels(page: &mut Page, plan: Plan, vehicle: FloorVehicle) {
    let (half_track, axle) = (0.5 * vehicle.track.get(), vehicle.lamp_to_axle.get());
    let size = (WHEEL.0 / plan.scale, WHEEL.1 / plan.scale);
    for across in [half_track, -half_track] {
        let corner = plan.at(-axle - 0.5 * WHEEL.0, across + 0.5 * WHEEL.1);
        page.fill(rectangle(corner, size).to_vec(), BLACK);
    }
    page.line(plan.at(-axle, half_track), plan.at(-axle, -half_track), Pen::solid(0.4, LIGHT));
}

fn words(page: &mut Page, bay: &Bay, y: f64) {
    let half = 0.5 * page.width;
    let style = Style::regular(3.1);
    let (x, width) = (12.0, half - 20.0);
    let floor = bay.floor.map_or_else(
        || "Floor: not surveyed. Survey it: 0.1 % of slope is 0.06° of aim.".to_owned(),
        |floor| {
            format!(
                "Floor in the bay file: slope {:+.2} % (positive rises to the wall), across {:+.2} % (positive: right side \
                 higher).",
                floor.slope.get(),
                floor.cross.get()
            )
        },
    );
    let mut left = page.paragraph((x, y), width, &floor, Style::bold(3.3));
    let steps = [
        "1. Snap the centreline and the line of the lamps on the floor, square to each other. Paint them.",
        "2. Drive in along the centreline, wheels straight, until the lamps stand over their line; roll the last metre.",
        "3. The front wheels then stand as far behind the line as this vehicle's lamps stand ahead of its axle (drawn for one \
         vehicle). Both must be as far from the centreline.",
        "4. Park brake on, wheels chocked, tyres to the placard. Then go to the wall.",
    ];
    for step in steps {
        left = page.paragraph((x, left + 0.9), width, step, style);
    }
    let mut right = y;
    page.words((half + 4.0, right), "What is published about such floors", Style::bold(3.3));
    right += 4.6;
    for fact in FACTS {
        right = page.paragraph((half + 4.0, right), width, fact, style) + 0.9;
    }
    page.paragraph(
        (half + 4.0, right),
        width,
        "The rule and the authority of your place come first.",
        Style::bold(3.1),
    );
}
