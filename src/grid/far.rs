//! Coarse samples of the whole visible wall, far beyond the fine grid: what room light is told from the lamp's by.

use super::options::GridOptions;
use super::resample::Bare;
use crate::bay::{Bay, LampSetup};
use crate::photo::{BlackClip, LinearImage};
use crate::units::{AnglePoint, PxPoint};
use crate::wall::{WallView, geometry};

/// Light of one patch of wall.
#[derive(Debug, Clone, Copy)]
pub struct FarSample {
    /// H of its centre, degrees.
    pub h_deg: f64,
    /// V of its centre, degrees.
    pub v_deg: f64,
    /// Median linear red, green, blue; the mean where noise reaches black, less what that added.
    pub rgb: [f32; 3],
    /// Intensity per illuminance, as in the grid.
    pub factor: f64,
    /// Squared tangent of the angle from the camera's axis.
    pub off_axis: f64,
}

/// Pixels on either side of a patch's centre, and the distance between those that are read.
const REACH_PX: isize = 6;
const STRIDE_PX: usize = 3;

/// Samples the wall; `focal_px` and `centre_px` describe the camera's axis, `black` noise that reaches black.
pub fn far_field(
    image: &LinearImage<'_>,
    view: &WallView,
    setup: &LampSetup,
    bay: &Bay,
    (focal_px, centre_px): (f64, (f64, f64)),
    black: Option<&BlackClip>,
    options: &GridOptions,
) -> Vec<FarSample> {
    let reference = setup.distance.get().powi(2);
    let (width, height) = (image.photo().width() as f64, image.photo().height() as f64);
    let columns = (2.0 * options.far.h_reach_deg / options.far.step_h_deg) as usize;
    let rows = ((options.far.top_deg - options.far.bottom_deg) / options.far.step_v_deg) as usize;
    let bare = Bare::of(bay, setup, options);
    let mut samples = Vec::new();
    for row in 0..=rows {
        for column in 0..=columns {
            let (h_deg, v_deg) = (
                -options.far.h_reach_deg + column as f64 * options.far.step_h_deg,
                options.far.bottom_deg + row as f64 * options.far.step_v_deg,
            );
            let Some(wall) = geometry::wall_point(setup, AnglePoint::new(h_deg, v_deg)) else { continue };
            if !bare.holds(wall) {
                continue;
            }
            let place = view.to_px(wall);
            let is_inside = place.x > options.far.margin_px
                && place.y > options.far.margin_px
                && place.x < width - options.far.margin_px
                && place.y < height - options.far.margin_px;
            if !is_inside {
                continue;
            }
            let ray = geometry::solid(setup, wall);
            let off_axis = ((place.x - centre_px.0).powi(2) + (place.y - centre_px.1).powi(2)) / (focal_px * focal_px);
            samples.push(FarSample {
                h_deg,
                v_deg,
                rgb: patch_rgb(image, place, black),
                factor: ray.distance_mm.powi(2) / ray.cos_incidence / reference,
                off_axis,
            });
        }
    }
    samples
}

fn patch_rgb(image: &LinearImage<'_>, place: PxPoint, black: Option<&BlackClip>) -> [f32; 3] {
    let (x, y) = (place.x as isize, place.y as isize);
    let mut channels: [Vec<f32>; 3] = Default::default();
    for dy in (-REACH_PX..=REACH_PX).step_by(STRIDE_PX) {
        for dx in (-REACH_PX..=REACH_PX).step_by(STRIDE_PX) {
            let rgb = image.rgb((x + dx) as usize, (y + dy) as usize);
            for (channel, value) in channels.iter_mut().zip(rgb) {
                channel.push(value);
            }
        }
    }
    channels.map(|mut values| {
        if let Some(black) = black {
            // Clipped noise is lopsided: only its plain mean tells the light. No light is less than none.
            let mean = values.iter().sum::<f32>() / values.len() as f32;
            return black.light_of(f64::from(mean)).max(0.0) as f32;
        }
        // The mean of the middle half: as robust as the median, without its steps of one code in the dark.
        values.sort_by(f32::total_cmp);
        let cut = values.len() / 4;
        let kept = &values[cut..values.len() - cut];
        kept.iter().sum::<f32>() / kept.len() as f32
    })
}
