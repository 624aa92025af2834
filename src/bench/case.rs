//! Cases to score: photos with truth in a folder, or scenes of the renderer.
//!
//! **Takes** a folder (every `NAME.truth.json` in it and below it is a case; its `args` name photo and bay, which lie beside
//! it) or names of families with a number and a first seed. **Gives** [`Case`]s in a fixed order, and [`Prepared`] when
//! one is to be measured: rendered files live in a scratch folder that is removed with it.

use super::truth_file::TruthFile;
use crate::error::Error;
use crate::scene;
use rayon::prelude::*;
use std::fs;
use std::path::{Path, PathBuf};

/// Ending of a truth file's name.
const TRUTH_ENDING: &str = ".truth.json";

/// One photo to score.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Case {
    /// Name, unique in the run.
    pub id: String,
    /// Family that it is counted in; empty: the truth says it.
    pub family: String,
    /// Where it comes from.
    pub source: CaseSource,
}

/// Where a case comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CaseSource {
    /// A truth file, photo and bay beside it.
    File(PathBuf),
    /// A scene, rendered when it is measured.
    Scene {
        /// The seed.
        seed: u64,
        /// Longer and shorter side, pixels.
        size: (u32, u32),
    },
}

/// A case ready to be measured.
#[derive(Debug)]
pub struct Prepared {
    /// Folder in which the words' files lie.
    pub folder: PathBuf,
    /// The words of the command line behind `measure`.
    pub words: Vec<String>,
    /// What is known.
    pub truth: TruthFile,
    /// Time that rendering took, s; 0 for a photo on disk.
    pub render_s: f64,
    is_scratch: bool,
}

/// Every case in a folder and in the folders in it, by path.
pub fn cases_of_folder(folder: &Path) -> Result<Vec<Case>, Error> {
    let mut found = Vec::new();
    collect(folder, folder, &mut found)?;
    found.sort_by(|a: &Case, b: &Case| a.id.cmp(&b.id));
    if found.is_empty() {
        return Err(Error::file(
            folder.display().to_string(),
            format!("holds no file NAME{TRUTH_ENDING}, need at least one"),
            "render some with `lampwright scene --family typical --n 10 --out DIR`",
        ));
    }
    Ok(found)
}

fn collect(root: &Path, folder: &Path, found: &mut Vec<Case>) -> Result<(), Error> {
    let fail = |error: std::io::Error| {
        Error::file(folder.display().to_string(), format!("cannot be read: {error}"), "check the path and its rights")
    };
    for entry in fs::read_dir(folder).map_err(fail)? {
        let path = entry.map_err(fail)?.path();
        if path.is_dir() {
            collect(root, &path, found)?;
            continue;
        }
        let inside = path.strip_prefix(root).unwrap_or(&path).to_string_lossy().replace('\\', "/");
        if let Some(id) = inside.strip_suffix(TRUTH_ENDING) {
            found.push(Case { id: id.to_owned(), family: String::new(), source: CaseSource::File(path) });
        }
    }
    Ok(())
}

/// `n` scenes of each family, seeds from `seed` on; `all` stands for every built-in family.
pub fn cases_of_families(names: &[String], n: u64, seed: u64, size: (u32, u32)) -> Result<Vec<Case>, Error> {
    let mut families: Vec<String> = Vec::new();
    for name in names {
        if name == "all" {
            families.extend(scene::families().into_iter().map(str::to_owned));
        } else {
            // Drawing one scene costs nothing and names the families when there is none of this name.
            scene::sample(name, seed, None)?;
            families.push(name.clone());
        }
    }
    families.sort();
    families.dedup();
    let case = |family: &String, seed| Case {
        id: format!("{family}-{seed}"),
        family: family.clone(),
        source: CaseSource::Scene { seed, size },
    };
    Ok(families.iter().flat_map(|family| (seed..seed + n).map(move |seed| case(family, seed))).collect())
}

/// The cases with every scene rendered once into `folder`, which keeps the files: for runs that measure them several times.
pub fn rendered(cases: &[Case], folder: &Path) -> Result<Vec<Case>, Error> {
    cases
        .par_iter()
        .with_max_len(1)
        .map(|case| {
            let CaseSource::Scene { seed, size } = &case.source else { return Ok(case.clone()) };
            let kept = folder.join("kept").join(&case.id);
            let truth_json = render(&case.family, *seed, *size, &kept)?;
            let truth = kept.join(format!("{}{TRUTH_ENDING}", case.id));
            fs::write(&truth, truth_json).map_err(|error| cannot_write(&truth, &error))?;
            Ok(Case { source: CaseSource::File(truth), ..case.clone() })
        })
        .collect()
}

/// Renders a scene into a folder, which is made; gives its truth.
fn render(family: &str, seed: u64, size: (u32, u32), folder: &Path) -> Result<String, Error> {
    let scene = scene::render(&scene::sample(family, seed, Some(size))?)?;
    let write = || -> std::io::Result<()> {
        fs::create_dir_all(folder)?;
        fs::write(folder.join(format!("{}.jpg", scene.name)), &scene.photo)?;
        fs::write(folder.join(format!("{}.bay.toml", scene.name)), &scene.bay_toml)?;
        if let Some((suffix, photo)) = &scene.second {
            fs::write(folder.join(format!("{}.{suffix}.jpg", scene.name)), photo)?;
        }
        Ok(())
    };
    write().map_err(|error| cannot_write(folder, &error))?;
    Ok(scene.truth_json)
}

fn cannot_write(path: &Path, error: &std::io::Error) -> Error {
    Error::file(path.display().to_string(), format!("cannot be written: {error}"), "is the disk full?")
}

impl Case {
    /// Reads the truth, or renders the scene into a new folder under `scratch`.
    pub fn prepare(&self, scratch: &Path) -> Result<Prepared, Error> {
        match &self.source {
            CaseSource::File(path) => {
                let name = path.display().to_string();
                let text = fs::read_to_string(path).map_err(|error| {
                    Error::file(&name, format!("cannot be read: {error}"), "check the path and its rights")
                })?;
                let folder = path.parent().unwrap_or(Path::new(".")).to_owned();
                let truth = TruthFile::parse(&text, &name)?;
                ready(&name, folder, truth, 0.0, false)
            }
            CaseSource::Scene { seed, size } => {
                let started = std::time::Instant::now();
                let folder = scratch.join(&self.id);
                let truth_json = render(&self.family, *seed, *size, &folder)?;
                let render_s = started.elapsed().as_secs_f64();
                let truth = TruthFile::parse(&truth_json, &self.id)?;
                ready(&self.id, folder, truth, render_s, true)
            }
        }
    }
}

fn ready(name: &str, folder: PathBuf, truth: TruthFile, render_s: f64, is_scratch: bool) -> Result<Prepared, Error> {
    match truth.args.split_first() {
        Some((first, words)) if first == "measure" && !words.is_empty() => {
            Ok(Prepared { folder, words: words.to_vec(), truth, render_s, is_scratch })
        }
        _ => Err(Error::file(
            name,
            "args does not hold the words of a measurement, need [\"measure\", PHOTO, \"--bay\", ...]",
            "copy them from a command line that works, with the files beside the truth",
        )),
    }
}

impl Drop for Prepared {
    fn drop(&mut self) {
        if self.is_scratch {
            // A folder that stays is removed with the whole scratch folder.
            let _ = fs::remove_dir_all(&self.folder);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn families_are_checked_and_counted() {
        let names = |list: &[&str]| list.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>();
        let cases = cases_of_families(&names(&["typical", "clean", "typical"]), 3, 7, (800, 600)).unwrap();
        let ids: Vec<&str> = cases.iter().map(|case| case.id.as_str()).collect();
        assert_eq!(ids, ["clean-7", "clean-8", "clean-9", "typical-7", "typical-8", "typical-9"]);
        assert!(cases_of_families(&names(&["no-such"]), 1, 0, (800, 600)).is_err());
        assert!(cases_of_families(&names(&["all"]), 1, 0, (800, 600)).unwrap().len() > 30);
    }

    #[test]
    fn a_rendered_case_leaves_nothing_behind() {
        let scratch = tempfile::tempdir().unwrap();
        let case = &cases_of_families(&["clean".to_owned()], 1, 1, (400, 300)).unwrap()[0];
        let prepared = case.prepare(scratch.path()).unwrap();
        assert!(prepared.folder.join(&prepared.words[0]).is_file() && prepared.truth.cutoff.is_some());
        drop(prepared);
        assert_eq!(fs::read_dir(scratch.path()).unwrap().count(), 0);
    }

    #[test]
    fn kept_scenes_are_the_same_cases_and_stay() {
        let scratch = tempfile::tempdir().unwrap();
        let cases = cases_of_families(&["clean".to_owned()], 2, 1, (400, 300)).unwrap();
        let kept = rendered(&cases, scratch.path()).unwrap();
        let ids = |cases: &[Case]| cases.iter().map(|case| case.id.clone()).collect::<Vec<_>>();
        assert_eq!(ids(&kept), ids(&cases));
        for (case, kept) in cases.iter().zip(&kept) {
            let other = tempfile::tempdir().unwrap();
            let (once, again) = (case.prepare(other.path()).unwrap(), kept.prepare(scratch.path()).unwrap());
            assert_eq!((&once.words, &once.truth), (&again.words, &again.truth));
            let photo = |prepared: &Prepared| fs::read(prepared.folder.join(&prepared.words[0])).unwrap();
            assert_eq!(photo(&once), photo(&again));
            drop(again);
            assert!(kept.prepare(scratch.path()).is_ok());
        }
    }

    #[test]
    fn an_empty_folder_is_an_error_that_says_what_to_do() {
        let folder = tempfile::tempdir().unwrap();
        let message = cases_of_folder(folder.path()).unwrap_err().to_string();
        assert!(message.contains("truth.json") && message.contains("lampwright scene"), "{message}");
    }
}
