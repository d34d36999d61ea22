//! How a table of keys is written: the table and the type that its values are read into are one.

/// A table of keys and the type that its values are read into: a field for each key, named as the key with `_` for `-`.
/// A key that must be given (`need`) is a field of its form's type, one that may be (`may`) an `Option`, or a list that
/// is empty; one with a default (`or`, in SI units, which the schema shows), or with a value to go on with where none is
/// right (`else`), is always there. With `in NAME = "table": "help"` the table stands under `NAME`; `by` says its kinds.
/// A form is read `as` another type that is a [`Value`](crate::input::keys::fields::Value).
macro_rules! keys {
    ($(#[$of:meta])* $vis:vis struct $name:ident
        $(in $section:ident = $title:literal: $about:expr $(, by $kinds:expr)?)?;
        $($(#[$attr:meta])* $how:ident $key:ident: $form:ident $(($($arg:expr),* $(,)?))? $(as $as:ty)?, $help:expr
            $(, or $default:expr)? $(, else $other:expr)?;)*
    ) => {
        $(#[$of])*
        #[derive(Clone, Debug)]
        $vis struct $name {
            $($(#[$attr])* pub(crate) $key: $crate::input::keys::table::field!(
                $how [$form $(as $as)?] $(or $default)? $(else $other)?),)*
        }
        #[allow(non_upper_case_globals, dead_code, reason = "named as the fields; few are asked for by name")]
        impl $name {
            $(pub(crate) const $key: $crate::input::keys::shape::Key =
                $crate::input::keys::table::key!($how $key $help, $form $(($($arg),*))?)$(.or($default))?;)*
            /// The keys, in the order in which they are shown.
            pub(crate) const KEYS: &'static [$crate::input::keys::shape::Key] = &[$(Self::$key),*];

            /// What a checked table gives; `None` where something that it needs is missing (and reported).
            pub(crate) fn read(fields: &$crate::input::keys::fields::Fields) -> Option<Self> {
                Some(Self { $($key: $crate::input::keys::table::value!(
                    $how [$form $(as $as)?] (fields.get(Self::$key)) $(or $default)? $(else $other)?),)* })
            }
        }
        $(
            #[doc = $about]
            $vis static $section: $crate::input::keys::shape::Section = $crate::input::keys::shape::Section {
                name: $title,
                help: $about,
                kinds: $crate::input::keys::table::kinds_of!($($kinds)?),
                keys: $name::KEYS,
            };
        )?
    };
}
/// The kinds of a table, and the type that the values of a table are read into by its kind: its word, its help, and a
/// table of its further keys where it has any.
macro_rules! kinds {
    ($(#[$of:meta])* $vis:vis enum $name:ident by $tag:literal;
        $($kind:ident $(($keys:ident))? = $word:expr, $help:expr;)*) => {
        $(#[$of])*
        #[derive(Clone, Debug)]
        $vis enum $name { $(#[doc = $help] $kind $(($keys))?,)* }
        impl $name {
            pub(crate) const KINDS: $crate::input::keys::shape::Kinds = $crate::input::keys::shape::Kinds::Listed(
                $tag,
                &[$($crate::input::keys::shape::Kind {
                    word: $word,
                    help: $help,
                    keys: $crate::input::keys::table::keys_of!($($keys)?),
                }),*],
            );
        }
        impl $crate::input::keys::fields::Value for $name {
            type Maybe = Option<Self>;
            fn maybe(value: Option<Self>) -> Option<Self> {
                value
            }
            fn of(fields: &$crate::input::keys::fields::Fields, _: $crate::input::keys::shape::Key) -> Option<Self> {
                $(if fields.kind == $word {
                    return Some(Self::$kind $(($keys::read(fields)?))?);
                })*
                None
            }
        }
    };
}
macro_rules! kinds_of {
    () => {
        $crate::input::keys::shape::Kinds::None
    };
    ($kinds:expr) => {
        $kinds
    };
}
macro_rules! keys_of {
    () => {
        &[]
    };
    ($keys:ident) => {
        $keys::KEYS
    };
}
/// What a form's value is read as.
macro_rules! read_as {
    ($form:ident as $as:ty) => { $as };
    (Quantity) => { f64 };
    (Measure) => { $crate::input::keys::fields::Typed };
    (Measures) => { Vec<$crate::input::keys::fields::TypedAt> };
    (Whole) => { i64 };
    (Flag) => { bool };
    (Signal) => { $crate::input::keys::fields::Signal };
    (Signals) => { Vec<$crate::input::keys::fields::Signal> };
    (Word) => { String };
    (Quantities) => { Vec<f64> };
    (Rows) => { Vec<[$crate::input::keys::fields::TypedAt; 2]> };
    (Parameters) => { $crate::input::keys::fields::Fields };
    (Table) => { $crate::input::keys::fields::Fields };
    (Tables) => { Vec<$crate::input::keys::fields::Fields> };
    (ByName) => { Vec<($crate::input::keys::fields::Named, $crate::input::keys::fields::Fields)> };
    (Pins) => { $crate::input::keys::fields::Content };
    (NameOrMap) => { $crate::input::keys::fields::Content };
    (Texts) => { Vec<$crate::input::keys::fields::Named> };
    (Names) => { Vec<$crate::input::keys::fields::Named> };
    // Named files, and keys of other tables, are read by other means.
    (Unread) => { $crate::input::keys::fields::Unread };
    (Files) => { $crate::input::keys::fields::Unread };
    (Same) => { $crate::input::keys::fields::Unread };
    (OneOrMore) => { Vec<$crate::input::keys::fields::Named> };
    // A text or name, with its span.
    ($text:ident) => { $crate::input::keys::fields::Named };
}
/// The type of a key's field.
macro_rules! field {
    (may [Unread]) => { $crate::input::keys::fields::Unread };
    (may [Files]) => { $crate::input::keys::fields::Unread };
    (may [Same]) => { $crate::input::keys::fields::Unread };
    (may [$($form:tt)*]) => {
        <$crate::input::keys::table::read_as!($($form)*) as $crate::input::keys::fields::Value>::Maybe
    };
    ($how:ident [$($form:tt)*] $($rest:tt)*) => { $crate::input::keys::table::read_as!($($form)*) };
}
/// The value of a key's field.
macro_rules! value {
    ($how:ident [$($form:tt)*] ($got:expr) or $default:expr) => {
        $got.unwrap_or_else(|| $crate::input::keys::fields::Numeric::of_default($default))
    };
    ($how:ident [$($form:tt)*] ($got:expr) else $other:expr) => { $got.unwrap_or_else(|| $other) };
    (need [$($form:tt)*] ($got:expr)) => { $got? };
    (may [$($form:tt)*] ($got:expr)) => {
        <$crate::input::keys::table::read_as!($($form)*) as $crate::input::keys::fields::Value>::maybe($got)
    };
}
/// A key; one that is the `Same` as another has all of that.
macro_rules! key {
    ($how:ident $key:ident $help:expr, Same($same:expr)) => { $same };
    ($how:ident $key:ident $help:expr, $($form:tt)*) => {
        $crate::input::keys::shape::Key::$how(
            $crate::input::keys::table::kebab!($key),
            $crate::input::keys::table::form!($($form)*),
            $help,
        )
    };
}
/// The form by its name in a table of keys.
macro_rules! form {
    (Signal) => { $crate::input::keys::shape::Form::Text };
    (Signals) => { $crate::input::keys::shape::Form::Texts };
    (Files) => { $crate::input::keys::shape::Form::OneOrMore };
    (Unread ($form:expr)) => { $form };
    (ByName ($section:expr)) => { $crate::input::keys::shape::Form::Named($section) };
    ($form:ident $($args:tt)?) => { $crate::input::keys::shape::Form::$form $($args)? };
}
/// A key as it is typed, of the name of its field.
macro_rules! kebab {
    ($key:ident) => {{
        const TYPED: [u8; $crate::input::keys::table::typed_length(stringify!($key))] =
            $crate::input::keys::table::typed(stringify!($key));
        match std::str::from_utf8(&TYPED) {
            Ok(typed) => typed,
            Err(_) => panic!(),
        }
    }};
}
pub(crate) use {field, form, kebab, key, keys, keys_of, kinds, kinds_of, read_as, value};

/// Length of a key as it is typed, without what marks a word of the language as a name.
pub(crate) const fn typed_length(field: &str) -> usize {
    let raw = field.len() > 2 && field.as_bytes()[1] == b'#';
    if raw { field.len() - 2 } else { field.len() }
}

/// A field's name with `-` for `_`.
pub(crate) const fn typed<const N: usize>(field: &str) -> [u8; N] {
    let (field, skipped) = (field.as_bytes(), field.len() - N);
    let mut typed = [b'-'; N];
    let mut k = 0;
    while k < N {
        if field[k + skipped] != b'_' {
            typed[k] = field[k + skipped];
        }
        k += 1;
    }
    typed
}
