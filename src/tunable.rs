//! What a developer may tune: one definition gives a stage's options struct, its docs, defaults, ranges and list of entries.
//!
//! The macro `tunables!` takes a struct whose fields carry docs (meaning; what goes wrong when too small and
//! too large; where the default comes from), a default, a unit and the range that makes sense. The docs are printed as the
//! comments of the options file, so nothing is written twice.

/// The value behind an entry.
#[derive(Debug)]
pub enum Slot<'a> {
    /// A number.
    Double(&'a mut f64),
    /// A number of single precision.
    Single(&'a mut f32),
    /// A count.
    Count(&'a mut usize),
}

impl Slot<'_> {
    /// The value as a number.
    pub fn get(&self) -> f64 {
        match self {
            Self::Double(value) => **value,
            // The shortest decimal that gives the same single: 0.2 and not 0.200000003.
            Self::Single(value) => value.to_string().parse().unwrap_or(f64::from(**value)),
            Self::Count(value) => **value as f64,
        }
    }

    /// Sets it; counts are rounded.
    pub fn set(&mut self, number: f64) {
        match self {
            Self::Double(value) => **value = number,
            Self::Single(value) => **value = number as f32,
            Self::Count(value) => **value = number.round() as usize,
        }
    }

    /// Whether only whole numbers fit.
    pub fn is_count(&self) -> bool {
        matches!(self, Self::Count(_))
    }
}

impl<'a> From<&'a mut f64> for Slot<'a> {
    fn from(value: &'a mut f64) -> Self {
        Slot::Double(value)
    }
}

impl<'a> From<&'a mut f32> for Slot<'a> {
    fn from(value: &'a mut f32) -> Self {
        Slot::Single(value)
    }
}

impl<'a> From<&'a mut usize> for Slot<'a> {
    fn from(value: &'a mut usize) -> Self {
        Slot::Count(value)
    }
}

/// One tunable of a group.
#[derive(Debug)]
pub struct Entry<'a> {
    /// Its key: the groups' names and its own, joined by dots.
    pub key: String,
    /// Lines of its docs.
    pub docs: &'static [&'static str],
    /// Its unit; empty for shares, ratios and counts.
    pub unit: &'static str,
    /// Least value that makes sense.
    pub least: f64,
    /// Greatest value that makes sense.
    pub greatest: f64,
    /// Its value.
    pub slot: Slot<'a>,
}

/// A group of tunables.
pub trait Tunables {
    /// Shows every entry, those of inner groups too, under keys that begin with `prefix`.
    fn visit(&mut self, prefix: &str, visitor: &mut dyn FnMut(Entry<'_>));
}

/// `prefix.name`, or the name alone without a prefix.
pub fn joined(prefix: &str, name: &str) -> String {
    if prefix.is_empty() { name.to_owned() } else { format!("{prefix}.{name}") }
}

/// Makes an options struct of its definition; inner groups stand behind `groups`.
macro_rules! tunables {
    (
        $(#[$about:meta])*
        pub struct $name:ident {
            $(
                $(#[doc = $doc:literal])+
                $field:ident: $kind:ty = $default:expr, $unit:literal, $least:literal ..= $greatest:literal;
            )*
            $(groups {
                $(
                    $(#[doc = $group_doc:literal])+
                    $group:ident: $group_kind:ty;
                )*
            })?
        }
    ) => {
        $(#[$about])*
        #[derive(Debug, Clone, Copy, PartialEq)]
        pub struct $name {
            $(
                $(#[doc = $doc])+
                pub $field: $kind,
            )*
            $($(
                $(#[doc = $group_doc])+
                pub $group: $group_kind,
            )*)?
        }

        impl Default for $name {
            fn default() -> Self {
                Self {
                    $($field: $default,)*
                    $($($group: Default::default(),)*)?
                }
            }
        }

        impl $crate::tunable::Tunables for $name {
            fn visit(&mut self, prefix: &str, visitor: &mut dyn FnMut($crate::tunable::Entry<'_>)) {
                $(
                    visitor($crate::tunable::Entry {
                        key: $crate::tunable::joined(prefix, stringify!($field)),
                        docs: &[$($doc),+],
                        unit: $unit,
                        least: f64::from($least),
                        greatest: f64::from($greatest),
                        slot: (&mut self.$field).into(),
                    });
                )*
                $($(
                    self.$group.visit(&$crate::tunable::joined(prefix, stringify!($group)), visitor);
                )*)?
            }
        }
    };
}
pub(crate) use tunables;

#[cfg(test)]
mod tests {
    #![expect(unreachable_pub, reason = "the macro makes public structs, here inside of a test")]

    use super::*;

    tunables! {
        /// Inner.
        pub struct Inner {
            /// A count.
            rows: usize = 3, "", 1..=9;
        }
    }

    tunables! {
        /// Outer.
        pub struct Outer {
            /// First line.
            /// Second line.
            window_deg: f64 = 0.5, "deg", 0.1..=2.0;
            /// A single.
            share: f32 = 0.2, "", 0.0..=1.0;
            groups {
                /// The inner group.
                inner: Inner;
            }
        }
    }

    #[test]
    fn one_definition_gives_defaults_keys_docs_and_ranges() {
        let mut outer = Outer::default();
        let mut seen = Vec::new();
        outer.visit("beam", &mut |entry| seen.push((entry.key, entry.docs.len(), entry.slot.get(), entry.greatest)));
        let expected =
            [("beam.window_deg", 2, 0.5, 2.0), ("beam.share", 1, 0.2, 1.0), ("beam.inner.rows", 1, 3.0, 9.0)];
        let expected = expected.map(|(key, docs, value, greatest)| (key.to_owned(), docs, value, greatest));
        assert_eq!(seen, expected);
    }

    #[test]
    fn values_are_set_through_their_slots() {
        let mut outer = Outer::default();
        outer.visit("", &mut |mut entry| entry.slot.set(entry.greatest));
        assert_eq!(outer, Outer { window_deg: 2.0, share: 1.0, inner: Inner { rows: 9 } });
    }
}
