//! The wall in the photo: px to wall millimetres and back, and the bay's geometry from the wall to the lamp.

pub mod geometry;
