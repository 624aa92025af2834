//! The camera's lens: `OpenCV`'s pinhole model with k1 k2 p1 p2 k3, and the lens file (TOML, schema `lampwright/lens/1`).
//!
//! Pixel centres lie at n + 0.5 here, so `cx`, `cy` are 0.5 larger than `OpenCV` prints them.

/// A calibrated lens for one stored picture size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lens {
    /// Width of the picture as stored, before EXIF turns it, pixels.
    pub width: u32,
    /// Height of the picture as stored, pixels.
    pub height: u32,
    /// Focal length along x, pixels.
    pub fx: f64,
    /// Focal length along y, pixels.
    pub fy: f64,
    /// Principal point, pixels; pixel centres at n + 0.5.
    pub cx: f64,
    /// Principal point, pixels; pixel centres at n + 0.5.
    pub cy: f64,
    /// Radial distortion, order 2.
    pub k1: f64,
    /// Radial distortion, order 4.
    pub k2: f64,
    /// Tangential distortion.
    pub p1: f64,
    /// Tangential distortion.
    pub p2: f64,
    /// Radial distortion, order 6.
    pub k3: f64,
}
