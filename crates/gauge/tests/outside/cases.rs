//! Reading the cases and comparing with them.

use serde_json::Value;

/// One case with the figures got for it.
pub(crate) struct Case {
    whole: Value,
    checked: Vec<String>,
}

/// Runs `test` on every case of a file; each must check every expected figure.
pub(crate) fn each_case(text: &str, test: impl Fn(&str, &mut Case)) {
    let whole: Value = serde_json::from_str(text).expect("the file is JSON");
    for value in whole.as_array().expect("a list of cases") {
        let mut case = Case { whole: value.clone(), checked: Vec::new() };
        let id = value["id"].as_str().expect("an id").to_owned();
        test(&id, &mut case);
        for expected in case.expectations() {
            let name = expected["name"].as_str().expect("a name");
            assert!(case.checked.iter().any(|c| c == name), "{id}: {name} is not checked");
        }
    }
}

impl Case {
    fn id(&self) -> &str {
        self.whole["id"].as_str().expect("an id")
    }

    fn expectations(&self) -> Vec<Value> {
        self.whole["expected"].as_array().expect("a list").clone()
    }

    fn expectation(&self, name: &str) -> Value {
        let found = self.expectations().into_iter().find(|e| e["name"] == name);
        found.unwrap_or_else(|| panic!("{}: nothing is expected of {name}", self.id()))
    }

    /// An input as it stands; a path of keys is parted by points.
    pub(crate) fn input(&self, path: &str) -> &Value {
        let found = path.split('.').fold(&self.whole["inputs"], |value, key| &value[key]);
        assert!(!found.is_null(), "{}: there is no input {path}", self.id());
        found
    }

    /// Whether there is such an input.
    pub(crate) fn has_input(&self, key: &str) -> bool {
        !self.whole["inputs"][key].is_null()
    }

    /// An input that is a number.
    pub(crate) fn number(&self, path: &str) -> f64 {
        number(self.input(path))
    }

    /// An input that is a word.
    pub(crate) fn word(&self, path: &str) -> String {
        self.input(path).as_str().expect("a word").to_owned()
    }

    /// An input that is a list of numbers.
    pub(crate) fn list(&self, path: &str) -> Vec<f64> {
        list(self.input(path))
    }

    /// An input that is a list of lists of numbers.
    pub(crate) fn table(&self, path: &str) -> Vec<Vec<f64>> {
        self.input(path).as_array().expect("a table").iter().map(list).collect()
    }

    /// Checks one figure.
    pub(crate) fn check(&mut self, name: &str, got: f64) {
        self.check_list(name, &[got]);
    }

    /// Checks a figure or a list of figures.
    pub(crate) fn check_list(&mut self, name: &str, got: &[f64]) {
        let expectation = self.expectation(name);
        let wanted = match &expectation["value"] {
            Value::Array(_) => list(&expectation["value"]),
            single => vec![number(single)],
        };
        assert_eq!(wanted.len(), got.len(), "{}: {name}", self.id());
        let tolerance = |key: &str| expectation[key].as_f64().unwrap_or(0.0);
        for (i, (&w, &g)) in wanted.iter().zip(got).enumerate() {
            let allowed = tolerance("tol_abs").max(tolerance("tol_rel") * w.abs());
            assert!((g - w).abs() <= allowed, "{}: {name}[{i}] is {g}, expected {w}", self.id());
        }
        self.checked.push(name.to_owned());
    }

    /// Checks a figure with a tolerance of its own, which must be said why where it is called.
    pub(crate) fn check_within(&mut self, name: &str, got: f64, allowed: f64) {
        let wanted = number(&self.expectation(name)["value"]);
        assert!((got - wanted).abs() <= allowed, "{}: {name} is {got}, not {wanted}", self.id());
        self.checked.push(name.to_owned());
    }

    /// Checks a word or a list of words.
    pub(crate) fn check_words(&mut self, name: &str, got: &[&str]) {
        let wanted = match &self.expectation(name)["value"] {
            Value::Array(words) => words.clone(),
            single => vec![single.clone()],
        };
        assert_eq!(wanted, got, "{}: {name}", self.id());
        self.checked.push(name.to_owned());
    }

    /// The expected value itself, for checks of another shape; counts as checked.
    pub(crate) fn expected(&mut self, name: &str) -> Value {
        self.checked.push(name.to_owned());
        self.expectation(name)["value"].clone()
    }
}

fn number(value: &Value) -> f64 {
    match value {
        Value::String(text) => text.parse().expect("a number in a text"),
        other => other.as_f64().unwrap_or_else(|| panic!("{other} is not a number")),
    }
}

fn list(value: &Value) -> Vec<f64> {
    value.as_array().expect("a list").iter().map(number).collect()
}
