//! Where emitters are: time scales, frames, refraction.
