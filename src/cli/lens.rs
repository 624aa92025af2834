//! `lampwright lens`: a lens file from photos of a printed checkerboard.

use super::exit::ExitStatus;
use super::measure::{cannot_print, read_photo};
use super::plan;
use super::write::Staged;
use crate::camera::fit::{BoardView, Calibrated, FitModel, LEAST_PHOTOS, NAMES, fit};
use crate::camera::fit_file::{Origin, lens_file};
use crate::camera::fit_picture::picture;
use crate::camera::{BoardShape, GreyPicture, Lens, find_board};
use crate::error::Error;
use crate::photo::{DecodeOptions, Photo, decode};
use clap::{Args, ValueEnum};
use std::fmt::Write as _;
use std::io::Write;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

/// Squares in one direction; as `sheet checkerboard` prints them.
const COUNTS: RangeInclusive<u32> = 3..=60;
/// Edges of a square, mm; larger than printed for boards of other make.
const SQUARES_MM: RangeInclusive<f64> = 1.0..=1000.0;
/// A photo whose residuals are this many times the usual one's is named: a bent board, or one that moved.
const LARGE_RESIDUAL: f64 = 2.5;

/// Arguments of `lens`.
#[derive(Debug, Args)]
pub struct LensArgs {
    /// Photos of the board, 8 or more, of one camera, lens, zoom and size: tilted to every side, out to every corner
    #[arg(value_name = "PHOTO", required = true, num_args = 1..)]
    pub photos: Vec<PathBuf>,
    /// Squares in a row of the board (squares, not inner corners)
    #[arg(long, value_name = "N", default_value_t = 9)]
    pub columns: u32,
    /// Rows of squares
    #[arg(long, value_name = "N", default_value_t = 6)]
    pub rows: u32,
    /// Edge of a square as measured on the print, millimetres
    #[arg(long, value_name = "N", default_value_t = 25.0)]
    pub square_mm: f64,
    /// Distortion that is fitted
    #[arg(long, value_enum, default_value_t = ModelArg::K1k2)]
    pub model: ModelArg,
    /// Date that the file states, such as 2026-03-14
    #[arg(long, value_name = "DATE")]
    pub date: Option<jiff::civil::Date>,
    /// Lens file to write
    #[arg(long, value_name = "LENS.toml")]
    pub out: PathBuf,
    /// Picture of the residuals to write
    #[arg(long, value_name = "FILE.svg")]
    pub residuals: Option<PathBuf>,
}

/// `--model`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ModelArg {
    /// k1 alone
    K1,
    /// k1 and k2
    K1k2,
    /// k1, k2, p1, p2 and k3
    Full,
}

impl From<ModelArg> for FitModel {
    fn from(model: ModelArg) -> Self {
        match model {
            ModelArg::K1 => Self::K1,
            ModelArg::K1k2 => Self::K1K2,
            ModelArg::Full => Self::Full,
        }
    }
}

/// What helps against too few photos.
const NEXT: &str = "take more photos with the whole board in the picture, sharp and evenly lit";

/// What all photos must share.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Shot {
    size: (usize, usize),
    focal_35mm: Option<f64>,
    focal_mm: Option<f64>,
}

/// Reads the photos, fits the lens, writes its file and picture.
pub fn run(args: &LensArgs, stdout: &mut dyn Write) -> Result<ExitStatus, Error> {
    let shape = shape(args)?;
    check_files(args)?;
    let mut first: Option<(String, Shot)> = None;
    let (mut views, mut refused) = (Vec::new(), Vec::new());
    for path in &args.photos {
        let file = read_photo(path)?;
        let photo = decode(&file.bytes, &file.name, &DecodeOptions::default())?;
        let shot = shot(&photo);
        let (first_name, wanted) = first.get_or_insert_with(|| (file.name.clone(), shot));
        check_same(&file.name, shot, first_name, *wanted)?;
        match find_board(&grey(&photo), &shape) {
            Ok(places) => views.push(BoardView { name: file.name, board: shape.points(), places }),
            Err(why) => refused.push(format!("{}: refused: {why}", file.name)),
        }
    }
    let Some((_, shot)) = first else { return Err(Error::usage("no photo", "name photos of the board")) };
    if views.len() < LEAST_PHOTOS {
        let mut found = format!("{} photos show the whole board, need {LEAST_PHOTOS} or more", views.len());
        for line in &refused {
            let _ = write!(found, "\n  {line}");
        }
        if !refused.is_empty() {
            // The photos are at fault and not the command: refused, as a photo of a beam is.
            let text = format!("NOT CALIBRATED: photos refused\n{found}\n{NEXT}\n");
            stdout.write_all(text.as_bytes()).and_then(|()| stdout.flush()).map_err(|error| cannot_print(&error))?;
            return Ok(ExitStatus::Refused);
        }
        return Err(Error::usage(found, NEXT));
    }
    let size = (shot.size.0 as u32, shot.size.1 as u32);
    let found = fit(&views, size, args.model.into())?;
    let date = args.date.map(|date| date.to_string());
    let text = lens_file(&found, &Origin { date: date.as_deref(), focal_35mm: shot.focal_35mm });
    // A lens that this program would not take is not written.
    let name = args.out.display().to_string();
    Lens::parse(&text, &name)?.for_picture(size.0, size.1, shot.focal_35mm, &name)?;
    let staged = Staged::new(&args.out, text.as_bytes())?;
    if let Some(path) = &args.residuals {
        Staged::new(path, picture(&found, &views).as_bytes())?.commit()?;
    }
    staged.commit()?;
    let (text, is_clean) = summary(&found, &views, &refused, &args.out);
    stdout.write_all(text.as_bytes()).and_then(|()| stdout.flush()).map_err(|error| cannot_print(&error))?;
    Ok(if is_clean { ExitStatus::Good } else { ExitStatus::Finding })
}

fn shape(args: &LensArgs) -> Result<BoardShape, Error> {
    if !COUNTS.contains(&args.columns) || !COUNTS.contains(&args.rows) || !SQUARES_MM.contains(&args.square_mm) {
        return Err(Error::usage(
            format!(
                "a board of {} x {} squares of {} mm, need 3 to 60 squares of 1 to 1000 mm",
                args.columns, args.rows, args.square_mm
            ),
            "count the squares, and measure one across several",
        ));
    }
    Ok(BoardShape { columns: args.columns as usize, rows: args.rows as usize, square_mm: args.square_mm })
}

/// No output may overwrite a photo or the other output; the same photo twice tells nothing new.
fn check_files(args: &LensArgs) -> Result<(), Error> {
    let mut taken: Vec<PathBuf> = Vec::new();
    for path in &args.photos {
        let place = plan::resolved(path);
        if taken.contains(&place) {
            return Err(Error::usage(
                format!("{} is named twice", path.display()),
                "each photo counts once; take more of them",
            ));
        }
        taken.push(place);
    }
    let residuals = args.residuals.as_deref().map(|path| ("--residuals", path));
    for (flag, path) in [("--out", Path::new(&args.out))].into_iter().chain(residuals) {
        let place = plan::resolved(path);
        if taken.contains(&place) {
            return Err(Error::usage(
                format!("{flag} {} would overwrite another file of this command", path.display()),
                "give it a name of its own",
            ));
        }
        taken.push(place);
    }
    Ok(())
}

fn shot(photo: &Photo) -> Shot {
    Shot {
        size: (photo.stored_width, photo.stored_height),
        focal_35mm: photo.shot.focal_35mm,
        focal_mm: photo.shot.focal_mm,
    }
}

fn check_same(name: &str, shot: Shot, first_name: &str, first: Shot) -> Result<(), Error> {
    if shot == first {
        return Ok(());
    }
    let said = |shot: Shot| {
        let focal = shot.focal_mm.or(shot.focal_35mm).map_or(String::new(), |focal| format!(" at {focal} mm"));
        format!("{} x {} px as stored{focal}", shot.size.0, shot.size.1)
    };
    Err(Error::file(
        name,
        format!("{}, but {first_name} is {}", said(shot), said(first)),
        "all photos must be of one camera, lens, zoom and size; turn the board, not the zoom",
    ))
}

/// Luma of the picture as stored, 0 to 255.
fn grey(photo: &Photo) -> GreyPicture {
    let (width, height) = (photo.stored_width, photo.stored_height);
    GreyPicture { width, height, samples: photo.stored_luma() }
}

/// The text, and whether there is nothing to complain of.
fn summary(found: &Calibrated, views: &[BoardView], refused: &[String], out: &Path) -> (String, bool) {
    let lens = &found.lens;
    let mut text = format!(
        "{}: lens for {} x {} px from {} photos, residual {:.3} px rms, model {}\n",
        out.display(),
        lens.width,
        lens.height,
        views.len(),
        found.rms_px,
        found.model.as_str()
    );
    let values = [lens.fx, lens.fy, lens.cx, lens.cy, lens.k1, lens.k2, lens.p1, lens.p2, lens.k3];
    for ((name, value), sigma) in NAMES.iter().zip(values).zip(found.sigmas).filter(|(_, sigma)| *sigma > 0.0) {
        let digits = if name.starts_with(['f', 'c']) { 2 } else { 5 };
        let _ = writeln!(text, "  {name} = {value:.digits$} ± {sigma:.digits$}");
    }
    let mut sizes: Vec<f64> = (0..views.len()).map(|photo| found.rms_of(photo)).collect();
    sizes.sort_by(f64::total_cmp);
    let usual = sizes[sizes.len() / 2];
    let mut is_clean = refused.is_empty();
    for (photo, view) in views.iter().enumerate() {
        let own = found.rms_of(photo);
        if own > LARGE_RESIDUAL * usual {
            is_clean = false;
            let _ = writeln!(
                text,
                "{}: residual {own:.3} px, others {usual:.3} px: was the board flat and still?",
                view.name
            );
        }
    }
    for line in refused {
        let _ = writeln!(text, "{line}");
    }
    (text, is_clean)
}
