//! What the bedside says and takes: open questions, tares, belief. On a bed whose load is known, by its page as a browser without script has it, and by the API.

#[path = "ward/scene.rs"]
mod scene;

use std::sync::Arc;

use axum::body::Body;
use axum::http::{Request, Response, StatusCode, header};
use formats::recording::Sample;
use formats::weights::State;
use link::transport::Heard;
use scene::{Scene, scene_from, text};
use serde_json::{Value, json};
use ward::access::Role;
use ward::bed::Live;
use ward::clock::now_us;
use ward::records::ActionBody;
use ward::service::{Bed, Past, run};

const BED_KG: f64 = 15.0;
const PATIENT_KG: f64 = 72.0;
/// What a person did: when, s, and the word, mass and note.
type Act = (f64, &'static str, Option<f64>, &'static str);
/// Tare and the patient's coming.
const USUAL: [Act; 2] = [(30.0, "tare", None, ""), (60.0, "patient_on", None, "")];

/// A nurse at a bed whose deck was plugged in some seconds ago.
struct Bedside {
    scene: Scene,
    bed: Arc<Bed>,
    token: String,
    guard: String,
    begin_us: i64,
}

impl Bedside {
    async fn since(s: i64) -> Self {
        let begin_us = now_us() - s * 1_000_000;
        let scene = scene_from(begin_us);
        let bed = Arc::clone(scene.ward.bed("A1").unwrap());
        let (token, guard) = scene.token(Role::Nurse);
        let side = Self { scene, bed, token, guard, begin_us };
        side.link(Heard::Up).await;
        side
    }

    async fn link(&self, heard: Heard) {
        let (to, from) = run::heard();
        let (keep, _kept) = tokio::sync::mpsc::channel(4);
        to.send(heard).await.unwrap();
        drop(to);
        run::bed(Arc::clone(&self.bed), from, keep).await;
    }

    fn deck(&self) -> Deck<'_> {
        let past = Past::new(&self.scene.ward, &self.bed, self.begin_us);
        Deck { bed: &self.bed, past, sample: 0, noise: 1, more_kg: 0.0, lost: None }
    }

    fn live(&self) -> Live {
        self.bed.live()
    }

    async fn ask(&self, method: &str, path: &str, kind: &str, body: String) -> Response<Body> {
        // How often somebody asks is not what is tried here.
        *self.scene.ward.rate.lock().unwrap() = ward::access::limits::Rate::new(1e6, 1e6);
        let ask = Request::builder()
            .method(method)
            .uri(path)
            .header(header::HOST, "ward.test")
            .header(header::CONTENT_TYPE, kind);
        let ask = match kind {
            "application/json" => ask.header(header::AUTHORIZATION, format!("Bearer {}", self.token)),
            _ => ask
                .header(header::ORIGIN, "http://ward.test")
                .header(header::COOKIE, format!("bedplate_session={}; bedplate_unit=lb", self.token)),
        };
        self.scene.ask(ask.body(Body::from(body)).unwrap()).await
    }

    /// A page without its marks: what stands there to read.
    async fn page(&self, path: &str) -> Page {
        let html = text(self.ask("GET", path, "text/html", String::new()).await).await;
        Page(html.split("<main").nth(1).unwrap_or_else(|| panic!("no main: {html}")).to_owned())
    }

    async fn press(&self, form: &Form) -> Response<Body> {
        let mut fields = form.fields.clone();
        fields.retain(|(name, _)| name != "guard");
        fields.push(("guard".into(), self.guard.clone()));
        let body: Vec<String> = fields.iter().map(|(name, value)| format!("{name}={value}")).collect();
        self.ask("POST", &form.action, "application/x-www-form-urlencoded", body.join("&")).await
    }

    async fn api(&self, body: Value) -> (StatusCode, Value) {
        let told = self.ask("POST", "/api/beds/A1/actions", "application/json", body.to_string()).await;
        (told.status(), serde_json::from_str(&text(told).await).unwrap())
    }

    async fn shown(&self) -> Value {
        serde_json::from_str(&text(self.ask("GET", "/api/beds/A1", "application/json", String::new()).await).await)
            .unwrap()
    }
}

/// Ten samples a second of a bed, a patient from 60 s on and what else is laid there.
struct Deck<'a> {
    bed: &'a Bed,
    past: Past<'a>,
    sample: u32,
    noise: u32,
    more_kg: f64,
    /// A cell that gives nothing.
    lost: Option<usize>,
}

impl Deck<'_> {
    /// Samples until a time, s, with what was done meanwhile.
    fn until(&mut self, until_s: f64, acts: &[Act]) {
        let mut acts = acts.iter().peekable();
        let calibration = &self.bed.setup.calibration;
        while 0.1 * f64::from(self.sample) < until_s {
            let t_s = 0.1 * f64::from(self.sample);
            while let Some((at_s, word, kg, note)) = acts.next_if(|(at_s, ..)| *at_s <= t_s) {
                let body = ActionBody { action: (*word).into(), kg: *kg, note: (*note).into(), question: None };
                self.past.act(*at_s, "nurse", &body).unwrap();
            }
            let patient_kg = PATIENT_KG * ((t_s - 60.0) / 5.0).clamp(0.0, 1.0);
            let each_kg =
                (BED_KG + patient_kg + self.more_kg) / f64::from(u32::try_from(calibration.cells.len()).unwrap());
            let mut counts = Vec::new();
            for cell in &calibration.cells {
                // No converter gives one count for ever.
                self.noise = self.noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let noise_kg = 2e-3 * (f64::from(self.noise >> 16) / 65_536.0 - 0.5);
                counts.push(Some(
                    (cell.zero_counts.unwrap() + (each_kg + noise_kg) / cell.kg_per_count.unwrap()).round(),
                ));
            }
            if let Some(lost) = self.lost {
                counts[lost] = None;
            }
            let tilt_deg = vec![0.0; self.bed.setup.deck.sections.len()];
            self.past.sample(&Sample { t_s, temperature_c: Some(22.0), tilt_deg, counts }).unwrap();
            self.sample += 1;
        }
    }

    /// Samples for some seconds more, with nothing done.
    fn on(&mut self, s: f64) {
        self.until(0.1 * f64::from(self.sample) + s, &[]);
    }
}

/// A form of a page: where it goes and what it carries.
#[derive(Debug, Clone)]
struct Form {
    action: String,
    fields: Vec<(String, String)>,
}

struct Page(String);

impl Page {
    fn words(&self) -> String {
        let marks = self.0.split('<').map(|part| part.split_once('>').map_or("", |(_, text)| text));
        marks.collect::<Vec<_>>().join("").split_whitespace().collect::<Vec<_>>().join(" ")
    }

    /// The form of a button, in the section of a question where one is named.
    fn form(&self, button: &str) -> Form {
        let form = self.0.split("<form").skip(1).find(|form| {
            form.split("</form>").next().is_some_and(|form| form.contains(&format!(">{button}</button>")))
        });
        let form = form.unwrap_or_else(|| panic!("no button {button:?}: {}", self.words()));
        let form = form.split("</form>").next().unwrap();
        let of = |tag: &str, name: &str| {
            tag.split_once(&format!(" {name}=\"")).map(|(_, rest)| rest.split('"').next().unwrap().to_owned())
        };
        let inputs = form.split("<input").skip(1).map(|tag| tag.split('>').next().unwrap());
        let fields = inputs.filter_map(|tag| Some((of(tag, "name")?, of(tag, "value")?))).collect();
        Form { action: of(&format!(" {form}"), "action").unwrap(), fields }
    }

    fn has(&self, button: &str) -> bool {
        self.0.contains(&format!(">{button}</button>"))
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn each_open_step_is_answered_from_the_page_by_its_own_button_until_none_is_open() {
    let side = Bedside::since(900).await;
    let mut deck = side.deck();
    deck.until(200.0, &USUAL);
    assert_eq!(side.live().state, Some(State::Settled), "{:?}", side.live());
    let before_kg = side.live().patient_kg.unwrap();
    assert!((before_kg - PATIENT_KG).abs() < 0.1, "{before_kg}");
    deck.more_kg = 0.62;
    deck.until(250.0, &[]);
    deck.more_kg = 0.62 + 1.4;
    deck.until(900.0, &[]);
    let live = side.live();
    let [older, newer] = live.questions.as_slice() else { panic!("{:?}", live.questions) };
    assert!((older.kg - 0.62).abs() < 0.03 && (newer.kg - 1.4).abs() < 0.03, "{:?}", live.questions);
    let shown = side.shown().await;
    assert_eq!(shown["questions"][1]["question"], newer.number);
    assert_eq!(shown["questions"][1]["kind"], "step");

    let page = side.page("/beds/A1").await;
    let words = page.words();
    // The newest first, each with its own mass; below them what the patient may weigh: what was weighed before to 0.62 + 1.40 kg more.
    assert!(words.find("+1.40 kg").unwrap() < words.find("+0.62 kg").unwrap(), "{words}");
    let between = words.split("The patient weighs between ").nth(1).unwrap_or_else(|| panic!("{words}"));
    let (least, rest) = between.split_once(" and ").unwrap();
    let most: f64 = rest.split_once(" kg").unwrap().0.parse().unwrap();
    let least: f64 = least.parse().unwrap();
    assert!((least - before_kg).abs() < 0.03 && (most - before_kg - 2.02).abs() < 0.05, "{words}");
    // Waiting helps no question.
    assert!(words.contains("not sure: a step that nobody has explained") && !words.contains("wait"), "{words}");

    // The newest was a drink.
    assert_eq!(
        side.press(&page.form("It was the patient’s own: drink, urine, drain")).await.status(),
        StatusCode::SEE_OTHER
    );
    deck.on(20.0);
    let live = side.live();
    assert!(live.questions.len() == 1 && (live.questions[0].kg - 0.62).abs() < 0.03, "{:?}", live.questions);
    let page = side.page("/beds/A1").await;
    assert!(page.words().contains("The patient weighs either"), "{}", page.words());
    // The older one, of more than ten minutes ago, was a book.
    let book = page.form("Something was laid on the bed");
    assert_eq!(side.press(&book).await.status(), StatusCode::SEE_OTHER);
    deck.on(10.0);
    let live = side.live();
    assert!(live.questions.is_empty() && live.open_kg.abs() < 1e-12, "{:?}", live.questions);
    assert!((live.items_kg - 0.62).abs() < 0.03, "{}", live.items_kg);
    assert!((live.patient_kg.unwrap() - before_kg - 1.4).abs() < 0.03, "{:?}", live.patient_kg);
    assert_eq!(live.state, Some(State::Settled));
    // Another who had the page open answers the same question again: nothing more is done, now or three minutes later.
    let late = Form { fields: book.fields.into_iter().filter(|(name, _)| name != "once").collect(), ..book };
    assert_eq!(side.press(&late).await.status(), StatusCode::SEE_OTHER);
    deck.on(240.0);
    let live = side.live();
    assert!(live.questions.is_empty() && live.state == Some(State::Settled), "{live:?}");
    assert!(live.last_event.unwrap().2.contains("not open any more"));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_announced_and_never_came_is_asked_about_as_that() {
    for (button, items_kg) in [("It did not come", 0.0), ("It lies there", 1.2)] {
        let side = Bedside::since(600).await;
        let mut deck = side.deck();
        deck.until(600.0, &[USUAL[0], USUAL[1], (300.0, "add", Some(1.2), "blanket")]);
        let live = side.live();
        // Without the blanket it weighs less by its mass until somebody answers.
        let without_kg = live.patient_kg.unwrap() + 1.2;
        assert!((without_kg - PATIENT_KG).abs() < 0.1, "{without_kg}");
        let [question] = live.questions.as_slice() else { panic!("{:?}", live.questions) };
        assert!(question.entered && question.note == "blanket", "{question:?}");
        assert_eq!(side.shown().await["questions"][0]["kind"], "entered");
        let page = side.page("/beds/A1").await;
        let words = page.words();
        assert!(words.contains("+1.20 kg (blanket) was entered as coming, and the load did not change"), "{words}");
        assert!(!words.contains("What was that step?"), "{words}");
        assert_eq!(side.press(&page.form(button)).await.status(), StatusCode::SEE_OTHER);
        deck.on(20.0);
        let live = side.live();
        assert!(live.questions.is_empty() && live.state == Some(State::Settled), "{button}: {live:?}");
        assert!((live.items_kg - items_kg).abs() < 1e-6, "{button}: {}", live.items_kg);
        assert!((live.patient_kg.unwrap() + items_kg - without_kg).abs() < 0.01, "{button}: {:?}", live.patient_kg);
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_tare_that_was_refused_is_nowhere_shown_as_taken() {
    let side = Bedside::since(400).await;
    let mut deck = side.deck();
    deck.until(400.0, &USUAL);
    let before = side.live();
    assert!((before.tare_kg.unwrap() - BED_KG).abs() < 0.05, "{:?}", before.tare_kg);
    let page = side.page("/beds/A1").await;
    // Tared at 30 s of 400.
    assert!(page.words().contains("Tare15.0") && page.words().contains(" kg, 6 min ago"), "{}", page.words());
    let told = side.press(&page.form("Tare the empty deck")).await;
    assert_eq!(told.status(), StatusCode::OK);
    let told = text(told).await;
    assert!(told.contains("Somebody lies on the deck: no tare is taken.") && !told.contains("Yes, do it"), "{told}");
    let (status, problem) = side.api(json!({ "action": "tare" })).await;
    assert_eq!(status, StatusCode::CONFLICT);
    assert!(problem["detail"].as_str().unwrap().contains("no tare is taken"), "{problem}");
    deck.on(10.0);
    let live = side.live();
    assert_eq!((live.tare_kg, live.tare_at_us), (before.tare_kg, before.tare_at_us));
    let actions = side.scene.ward.memory.look(|tx| Ok(ward::records::actions(tx, "A1", 0))).unwrap().unwrap();
    assert_eq!(actions.len(), 2, "a tare that is refused is not on record");
    let words = side.page("/beds/A1").await.words();
    assert!(
        words.contains("6 min ago") && !words.contains("Entered: tare of the empty deck, nurse, just now"),
        "{words}"
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_tare_is_taken_while_nothing_comes_from_the_deck() {
    let side = Bedside::since(100).await;
    let mut deck = side.deck();
    deck.until(20.0, &[]);
    // The last sample is 80 s old.
    let page = side.page("/beds/A1").await;
    assert!(page.words().contains("Nothing comes from the deck: look at plug and cable."), "{}", page.words());
    assert!(!page.has("Tare the empty deck") && !page.has("The patient lies down"), "{}", page.words());
    let (status, problem) = side.api(json!({ "action": "tare" })).await;
    assert_eq!(status, StatusCode::CONFLICT);
    assert!(problem["detail"].as_str().unwrap().contains("nothing comes from the deck"), "{problem}");
    let form = Form { action: "/beds/A1/act".into(), fields: vec![("action".into(), "tare".into())] };
    let told = text(side.press(&form).await).await;
    assert!(told.contains("no tare can be taken now"), "{told}");
    deck.until(100.0, &[]);
    assert_eq!(side.live().tare_kg, None);
    // Plugged in and heard: the deck says that it was never tared, and takes one.
    let ward = side.page("/").await.words();
    assert!(ward.contains("no tare yet: tare the empty deck") && ward.contains("One bed asks"), "{ward}");
    let page = side.page("/beds/A1").await;
    assert!(page.words().contains("never tared in this bed"), "{}", page.words());
    // So is one whose cable is out.
    side.link(Heard::Ended { why: "unplugged".into() }).await;
    assert_eq!(side.api(json!({ "action": "tare" })).await.0, StatusCode::CONFLICT);
    side.link(Heard::Up).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_ward_says_of_each_bed_whether_its_weight_may_be_believed() {
    let side = Bedside::since(200).await;
    let mut deck = side.deck();
    deck.until(200.0, &USUAL);
    let page = side.page("/").await;
    assert!(page.words().contains("● A1") && page.words().contains("settled: may be believed"), "{}", page.words());
    assert!(!page.0.contains("unsure"), "{}", page.0);
    assert!(page.words().contains("No bed asks for attention."), "{}", page.words());
    // The pounds stand apart from the kilograms and their ±.
    let bed = side.page("/beds/A1").await.words();
    assert!(bed.contains("72.0") && bed.contains(" kg ± 0.0"), "{bed}");
    assert!(bed.find("±").unwrap() < bed.find(" lb").unwrap(), "{bed}");
    side.api(json!({ "action": "hold" })).await;
    // Until the next sample the page says what was entered.
    let bed = side.page("/beds/A1").await.words();
    assert!(bed.contains("Entered just now: hold."), "{bed}");
    deck.on(5.0);
    let page = side.page("/").await;
    assert!(
        page.words().contains("○ A1") && page.words().contains("held: the weight from before the care"),
        "{}",
        page.words()
    );
    assert!(page.0.contains("weight unsure"), "{}", page.0);
    let bed = side.page("/beds/A1").await.words();
    assert!(!bed.contains("Entered just now") && bed.contains("Release: care is done"), "{bed}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_deck_that_bears_otherwise_than_at_its_last_tare_is_asked_about_before_the_next() {
    let side = Bedside::since(58).await;
    let mut deck = side.deck();
    deck.until(50.0, &[(30.0, "tare", None, "")]);
    // A bag that stands on the empty bed.
    deck.more_kg = 5.0;
    deck.on(8.0);
    let before = side.live();
    assert!((before.tare_kg.unwrap() - BED_KG).abs() < 0.05, "{before:?}");
    let told = text(side.press(&side.page("/beds/A1").await.form("Tare the empty deck")).await).await;
    let asked = Page(told.split("<main").nth(1).unwrap().to_owned());
    let words = asked.words();
    assert!(words.contains("20.0") && words.contains("kg on the deck now"), "{words}");
    assert!(words.contains("15.0") && words.contains("kg at the last tare"), "{words}");
    assert!(words.contains("No, back") && asked.has("Yes, do it"), "{words}");
    assert_eq!(side.live().tare_at_us, before.tare_at_us, "a question takes no tare");
    let mut sure = asked.form("Yes, do it");
    sure.fields.push(("confirmed".into(), "yes".into()));
    assert_eq!(side.press(&sure).await.status(), StatusCode::SEE_OTHER);
    deck.on(10.0);
    assert!((side.live().tare_kg.unwrap() - BED_KG - 5.0).abs() < 0.05, "{:?}", side.live());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_cell_at_fault_is_named_where_the_bed_asks_for_somebody() {
    let side = Bedside::since(200).await;
    let mut deck = side.deck();
    deck.until(150.0, &USUAL);
    deck.lost = Some(0);
    deck.on(50.0);
    let cell = side.bed.setup.calibration.cells[0].name.clone();
    for page in ["/", "/beds/A1"] {
        let words = side.page(page).await.words();
        assert!(words.contains(&format!("at fault: {cell}. ")), "{page}: {words}");
    }
}
