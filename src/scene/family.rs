//! Families of scenes: TOML files with ranges, from which a seed draws one scene.
//!
//! **Takes** a family's name, or a family file's own text, and a seed. **Gives** a [`SceneSpec`]. **How**: a family file has the scene's own shape; a
//! leaf is a value, a range `[low, high]`, or a table `{ choice = [...] }`, `{ log = [low, high] }`, `{ normal = [mean,
//! sd] }`; `extends` names the family whose leaves it replaces. Every leaf draws by its own name, so that a new leaf
//! changes no other. **Fails when** the name is unknown or a leaf does not fit.

use super::rng;
use super::spec::SceneSpec;
use crate::error::Error;
use toml::{Table, Value};

macro_rules! family_files {
    ($($name:literal),* $(,)?) => {
        /// The families and their files.
        const FILES: &[(&str, &str)] =
            &[$(($name, include_str!(concat!("../../fixtures/scenes/", $name, ".toml")))),*];
    };
}

family_files!(
    "clean",
    "typical",
    "brick",
    "bands",
    "door",
    "noise",
    "soft",
    "oblique",
    "strong-lens",
    "near-wall",
    "second-lamp",
    "banding",
    "clipped",
    "dim-marks",
    "quadrant-marks",
    "left-traffic",
    "vol",
    "vor",
    "fog",
    "high-spot",
    "sloped-floor",
    "rotated-exif",
    "five-marks-one-displaced",
    "displaced-tag",
    "moved-camera",
    "ambient-photo",
    "pair-moved",
    "no-beam",
    "one-mark-missing",
    "elbow-off-wall",
    "blurred",
    "clipped-at-cutoff",
    "ambient-too-strong",
    "all-white",
    "bay-mismatch",
    "reflector",
);

/// Depth of `extends` beyond which a file must be going round in circles.
const DEEPEST: usize = 6;

/// Names of all families, in the order of the table.
pub fn families() -> Vec<&'static str> {
    FILES.iter().map(|(name, _)| *name).collect()
}

/// Draws one scene; `size` replaces the picture's longer and shorter side.
pub fn sample(family: &str, seed: u64, size: Option<(u32, u32)>) -> Result<SceneSpec, Error> {
    from_family(merged(family, 0)?, family, &format!("fixtures/scenes/{family}.toml"), seed, size)
}

/// Draws one scene of a family file of one's own: its `text`, its `path` for messages; `extends` names a built-in family.
/// The scene is named after the file.
pub fn sample_file(text: &str, path: &str, seed: u64, size: Option<(u32, u32)>) -> Result<SceneSpec, Error> {
    from_family(merged_text(text, path, 0)?, &stem(path), path, seed, size)
}

/// Reads one scene: a file like a family's, with its own `seed` (0 when it states none), from which what is left as a
/// range is drawn as well. Its `name` is kept; without one the file gives it.
pub fn scene_file(text: &str, path: &str, size: Option<(u32, u32)>) -> Result<SceneSpec, Error> {
    let mut table = merged_text(text, path, 0)?;
    let seed = match table.get("seed") {
        None => 0,
        Some(Value::Integer(seed)) if *seed >= 0 => *seed as u64,
        Some(other) => {
            return Err(Error::file(path, format!("seed = {other}, need a whole number from 0"), "correct the seed"));
        }
    };
    table.entry("family").or_insert_with(|| Value::String(stem(path)));
    let mut spec = drawn(table, seed, path, size)?;
    if spec.name.is_empty() {
        spec.name = stem(path);
    }
    if !spec.name.chars().all(|c| c.is_alphanumeric() || "-_.".contains(c)) {
        return Err(Error::file(
            path,
            format!("name = \"{}\", need letters, digits, - _ .", spec.name),
            "rename the scene",
        ));
    }
    spec.seed = seed;
    Ok(spec)
}

fn from_family(
    table: Table,
    family: &str,
    path: &str,
    seed: u64,
    size: Option<(u32, u32)>,
) -> Result<SceneSpec, Error> {
    let mut spec = drawn(table, rng::seed_of(seed, family), path, size)?;
    spec.family = family.to_string();
    spec.name = format!("{family}-{seed:03}");
    spec.seed = rng::seed_of(seed, &spec.name);
    Ok(spec)
}

/// Every leaf drawn with this seed.
fn drawn(mut table: Table, seed: u64, path: &str, size: Option<(u32, u32)>) -> Result<SceneSpec, Error> {
    table.remove("extends");
    let wrong = |found: String| Error::file(path, found, "compare it with fixtures/scenes/typical.toml");
    let drawn = draw(&Value::Table(table), seed, "");
    let mut spec: SceneSpec = drawn.try_into().map_err(|error| wrong(format!("not a scene: {error}")))?;
    if let Some(odd) = spec.odd_word() {
        return Err(wrong(odd));
    }
    spec.round_stated();
    if let Some((long, short)) = size {
        (spec.picture.long_px, spec.picture.short_px) = (long, short);
    }
    Ok(spec)
}

/// A file's name without folder and ending.
fn stem(path: &str) -> String {
    std::path::Path::new(path).file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default()
}

fn merged(family: &str, depth: usize) -> Result<Table, Error> {
    let Some((_, text)) = FILES.iter().find(|(name, _)| *name == family) else {
        return Err(Error::file(
            format!("fixtures/scenes/{family}.toml"),
            format!("family \"{family}\" is unknown, need one of: {}", families().join(", ")),
            "choose a family from this list",
        ));
    };
    merged_text(text, &format!("fixtures/scenes/{family}.toml"), depth)
}

/// The text's leaves over those of the family that it extends.
fn merged_text(text: &str, path: &str, depth: usize) -> Result<Table, Error> {
    let own: Table = toml::from_str(text).map_err(|error| {
        Error::file(path, format!("not TOML: {error}"), "compare it with fixtures/scenes/typical.toml")
    })?;
    let Some(parent) = own.get("extends").and_then(Value::as_str) else {
        return Ok(own);
    };
    if depth >= DEEPEST {
        return Err(Error::file(path, "extends goes round in circles", "let it end at a family without extends"));
    }
    let mut table = merged(parent, depth + 1)?;
    overlay(&mut table, &own);
    Ok(table)
}

/// A leaf's recipe has one of these keys alone.
fn is_recipe(table: &Table) -> bool {
    table.len() == 1 && ["choice", "log", "normal"].iter().any(|key| table.contains_key(*key))
}

/// Lays `over` on `base`, table by table; lists of tables are laid place by place.
fn overlay(base: &mut Table, over: &Table) {
    for (key, value) in over {
        match (base.get_mut(key), value) {
            (Some(Value::Table(below)), Value::Table(above)) if !is_recipe(below) && !is_recipe(above) => {
                overlay(below, above);
            }
            (Some(Value::Array(below)), Value::Array(above)) if above.iter().all(Value::is_table) => {
                for (place, item) in above.iter().enumerate() {
                    match (below.get_mut(place), item) {
                        (Some(Value::Table(old)), Value::Table(new)) => overlay(old, new),
                        _ => below.push(item.clone()),
                    }
                }
            }
            _ => {
                base.insert(key.clone(), value.clone());
            }
        }
    }
}

/// Replaces ranges and recipes by values.
fn draw(value: &Value, seed: u64, path: &str) -> Value {
    let uniform = || rng::unit(rng::seed_of(seed, path));
    match value {
        Value::Table(table) if is_recipe(table) => draw_recipe(value, table, uniform()),
        Value::Table(table) => Value::Table(
            table.iter().map(|(key, item)| (key.clone(), draw(item, seed, &format!("{path}.{key}")))).collect(),
        ),
        Value::Array(items) if items.iter().all(Value::is_table) => Value::Array(
            items.iter().enumerate().map(|(place, item)| draw(item, seed, &format!("{path}.{place}"))).collect(),
        ),
        Value::Array(items) => match (items.first(), items.get(1)) {
            (Some(Value::Integer(low)), Some(Value::Integer(high))) => {
                Value::Integer(low + (uniform() * (high - low + 1) as f64).floor() as i64)
            }
            (Some(low), Some(high)) => between(low, high, |a, b| a + (b - a) * uniform()),
            _ => value.clone(),
        },
        _ => value.clone(),
    }
}

fn between(low: &Value, high: &Value, join: impl Fn(f64, f64) -> f64) -> Value {
    let number = |v: &Value| v.as_float().or_else(|| v.as_integer().map(|i| i as f64)).unwrap_or(0.0);
    Value::Float(join(number(low), number(high)))
}

fn draw_recipe(value: &Value, table: &Table, uniform: f64) -> Value {
    let Some((key, Value::Array(items))) = table.iter().next() else {
        return value.clone();
    };
    if key == "choice" {
        let place = (uniform * items.len() as f64) as usize;
        return items.get(place).cloned().unwrap_or_else(|| value.clone());
    }
    let (Some(low), Some(high)) = (items.first(), items.get(1)) else {
        return value.clone();
    };
    if key == "log" {
        return between(low, high, |a, b| a * (b / a).powf(uniform));
    }
    // The ends are kept off 0 and 1, where the normal distribution has no finite value.
    let share = uniform.clamp(1e-6, 1.0 - 1e-6);
    between(low, high, |mean, sd| mean + sd * rng::normal_at(share))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_family_draws_scenes() {
        for family in families() {
            for seed in 0..5 {
                let spec = sample(family, seed, None).unwrap_or_else(|error| panic!("{family}: {error}"));
                assert!(spec.marks.len() >= 4, "{family}");
                let mut ids: Vec<u32> = spec.marks.iter().filter(|m| m.kind != "quadrant").map(|m| m.id).collect();
                let count = ids.len();
                ids.sort_unstable();
                ids.dedup();
                assert_eq!(ids.len(), count, "{family}, seed {seed}: two tags with the same id");
            }
        }
    }

    #[test]
    fn same_seed_same_scene_other_seed_other_scene() {
        let (a, b, c) = (sample("typical", 1, None), sample("typical", 1, None), sample("typical", 2, None));
        assert_eq!(a.unwrap(), b.unwrap());
        assert_ne!(sample("typical", 1, None).unwrap().beam, c.unwrap().beam);
    }

    #[test]
    fn draws_stay_in_their_ranges() {
        let table: Table = toml::from_str("a = [2.0, 3.0]\nb = { log = [10.0, 1000.0] }\nc = [4, 6]").unwrap();
        for seed in 0..200 {
            let drawn = draw(&Value::Table(table.clone()), seed, "");
            let (a, b) = (drawn["a"].as_float().unwrap(), drawn["b"].as_float().unwrap());
            assert!((2.0..3.0).contains(&a) && (10.0..1000.0).contains(&b), "{a}, {b}");
            assert!((4..=6).contains(&drawn["c"].as_integer().unwrap()));
        }
    }

    #[test]
    fn a_scene_file_keeps_its_name_and_seed() {
        let text = "extends = \"clean\"\nname = \"mine\"\nseed = 7\n[setup]\nheight_mm = 701.0\n";
        let spec = scene_file(text, "folder/a.toml", Some((800, 600))).unwrap();
        assert_eq!((spec.name.as_str(), spec.seed, spec.picture.long_px), ("mine", 7, 800));
        assert!((spec.setup.height_mm - 701.0).abs() < 1e-9);
        assert_eq!(scene_file("extends = \"clean\"\n", "folder/a.toml", None).unwrap().name, "a");
        assert_eq!(sample_file("extends = \"clean\"\n", "folder/own.toml", 4, None).unwrap().name, "own-004");
    }

    #[test]
    fn what_is_wrong_in_a_file_is_named() {
        for (text, word) in [
            ("extends = \"nonesuch\"\n", "nonesuch"),
            ("a = ", "not TOML"),
            ("extends = \"clean\"\nseed = -1\n", "seed = -1"),
            ("extends = \"clean\"\nname = \"../up\"\n", "../up"),
            ("extends = \"clean\"\n[beam]\nglow = 1.0\n", "glow"),
            ("extends = \"clean\"\n[setup]\nlamp = \"middle\"\n", "lamp = \"middle\""),
            ("extends = \"clean\"\n[picture]\njpeg_quality = 0\n", "jpeg_quality"),
        ] {
            let error = scene_file(text, "folder/a.toml", None).unwrap_err().to_string();
            assert!(error.contains(word) && error.contains("a.toml") || word == "nonesuch", "need {word}: {error}");
        }
    }

    #[test]
    fn unknown_family_is_named() {
        let error = sample("nonesuch", 1, None).unwrap_err();
        assert!(error.to_string().contains("nonesuch"), "{error}");
    }
}
