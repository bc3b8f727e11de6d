//! The workbench in a real browser: a design is changed by hand, compared, searched; what was changed outlives a reload; Undo goes back
//! to where a hand began. Needs chromium and chromedriver: feature `browser-tests`.
#![cfg(feature = "browser-tests")]
#![expect(clippy::print_stdout, reason = "what was measured is to be read in the log")]

mod browser;
#[path = "common/served.rs"]
mod served;

use browser::Browser;
use served::Served;

/// A design with a small space to search, so that the search ends in a test.
fn small_space() -> String {
    let text = twin::demo::DECK_TOML;
    let from = text.find("[explore]").expect("a table");
    format!(
        "{}[explore]\none_stack = true\ncells_per_plate = [4]\ninset_mm = [90.0]\nrounds = 2\ncandidates_per_round = 20\nseed = 1\n\
         [[explore.stack]]\nbond = \"glued\"\nlayers = [ {{ material = \"birch plywood\", thickness_mm = [9.0, 12.0, 15.0] }} ]\n",
        &text[..from]
    )
}

#[tokio::test(flavor = "multi_thread")]
async fn a_design_is_changed_by_pointer_and_keyboard_compared_and_searched() {
    let demo = Served::demo();
    let browser = Browser::start().await;
    browser.emulate(1280, "light", "screen").await;
    browser.open(&format!("http://{}/workbench", demo.address)).await;
    browser.wait_for("document.querySelector('#plan svg') !== null").await;
    let figure = |key: &str| format!("document.querySelector('[data-figure={key}] .value').textContent");
    let deflection = browser.text(&figure("deflection_mm")).await;
    browser.click("#keep").await;

    // By pointer: the ring follows the hand, the file follows the ring.
    browser.drag("[data-cell=B6] .cell", -40, -20).await;
    browser.wait_for("document.querySelector('#diff').textContent.includes('\"B6\"')").await;
    browser.wait_for(&format!("{} !== '{deflection}'", figure("deflection_mm"))).await;
    browser.wait_for("!document.body.classList.contains('busy')").await;
    let took = browser.text("document.querySelector('#asking').textContent").await;
    println!("{took}");

    // By keyboard: five millimetres to the foot.
    let x = "Number(document.querySelector('[aria-label=\"x of cell S2, mm\"]').value)";
    let before = browser.number(x).await;
    browser.number("(document.querySelector('[data-cell=S2]').focus(), 1)").await;
    browser.press_right().await;
    browser.wait_for(&format!("{x} === {}", before + 5.0)).await;
    let focus = browser.text("document.activeElement.dataset.cell").await;
    assert_eq!(focus, "S2", "the focus stays on the cell that is moved");

    // And back.
    browser.click("#undo").await;
    browser.wait_for(&format!("{x} === {before}")).await;
    let compare = browser.text("document.querySelector('#compare').textContent").await;
    assert!(compare.contains("B against A"), "{compare}");
    browser.assert_whole("the workbench in use").await;

    // A text that is no deck is told with its place, and the drawing stays.
    browser.number("(document.querySelectorAll('details').forEach((d) => { d.open = true; }), 1)").await;
    browser.set_value("#text", "[deck]\nname = \"nothing else\"\n").await;
    browser.click("#apply").await;
    browser.wait_for("!document.querySelector('#problem').hidden").await;
    let problem = browser.text("document.querySelector('#problem').textContent").await;
    assert!(problem.contains("deck.toml"), "{problem}");
    // The browser notes the refusal itself; nothing else went wrong.
    let noted = browser.console_errors().await;
    assert!(noted.len() == 1 && noted[0].contains("422"), "{noted:?}");

    // A search, and a design of it opened beside the one before.
    browser.set_value("#text", &small_space()).await;
    browser.click("#apply").await;
    browser.wait_for("document.querySelector('#problem').hidden").await;
    browser.click("#search").await;
    browser.wait_for("document.querySelector('#found').textContent.includes('The search is done')").await;
    browser.assert_whole("the workbench after a search").await;
    // By the point on the plot, and by the button that says the same.
    let text = "document.querySelector('#text').value";
    browser.number(&format!("(window.before = {text}, 1)")).await;
    browser.drag("#front-plot .points path", 0, 0).await;
    browser.wait_for(&format!("{text} !== window.before")).await;
    browser.set_value("#text", &small_space()).await;
    browser.click("#apply").await;
    browser.wait_for(&format!("{text} === window.before && !document.body.classList.contains('busy')")).await;
    browser.click_button("Open").await;
    browser.wait_for(&format!("{text} !== window.before")).await;

    // Another file is opened from disk; what is downloaded has its name from then on.
    let upload = "(() => { const given = new DataTransfer(); given.items.add(new File([document.querySelector('#text').value.replace('Hornbeam deck', 'Rowan deck')], 'rowan.toml')); const field = document.querySelector('#upload'); field.files = given.files; field.dispatchEvent(new Event('change')); return 1; })()";
    browser.number(upload).await;
    browser.wait_for("document.querySelector('#asking').textContent.startsWith('Rowan deck')").await;
    assert_eq!(browser.text("document.querySelector('#download').download").await, "rowan.toml");
    assert_eq!(browser.text("document.querySelector('#diff').textContent").await, "Nothing.");
    assert_eq!(browser.console_errors().await, Vec::<String>::new());
    browser.stop().await;
}

/// Opens the workbench and waits for its first answer.
async fn opened(demo: &Served) -> Browser {
    let browser = Browser::start().await;
    browser.emulate(1280, "light", "screen").await;
    browser.open(&format!("http://{}/workbench", demo.address)).await;
    browser.wait_for("document.querySelector('#plan svg') !== null").await;
    browser
}

/// No question is on its way.
const AT_REST: &str = "!document.body.classList.contains('busy')";

fn place(cell: &str, axis: &str) -> String {
    format!("Number(document.querySelector('[aria-label=\"{axis} of cell {cell}, mm\"]').value)")
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_changed_outlives_a_reload_and_a_change_of_language() {
    let demo = Served::demo();
    let browser = opened(&demo).await;
    let hidden = "document.querySelector('#kept-here').hidden ? 'hidden' : 'shown'";
    assert_eq!(browser.text(hidden).await, "hidden");
    browser.drag("[data-cell=B6] .cell", -40, -20).await;
    browser.wait_for("document.querySelector('#diff').textContent.includes('\"B6\"')").await;
    browser.wait_for(AT_REST).await;
    let moved = browser.number(&place("B6", "x")).await;
    browser.open(&format!("http://{}/workbench", demo.address)).await;
    browser
        .wait_for(&format!("document.querySelector('#plan svg') !== null && {} === {moved}", place("B6", "x")))
        .await;
    assert!(browser.text("document.querySelector('#kept-here').textContent").await.contains("taken up again"));
    assert!(browser.text("document.querySelector('#diff').textContent").await.contains("\"B6\""));
    browser.assert_whole("changes taken up again").await;
    browser.click_button("Deutsch").await;
    browser.wait_for("document.documentElement.lang === 'de' && document.querySelector('#plan svg') !== null").await;
    browser.wait_for("document.querySelector('#diff').textContent.includes('\"B6\"')").await;
    // The file is the truth: one press, and nothing of it is left.
    browser.click_button("Neu mit der Datei beginnen").await;
    browser.wait_for("document.querySelector('#diff').textContent === 'Nichts.'").await;
    browser.open(&format!("http://{}/workbench", demo.address)).await;
    browser.wait_for("document.querySelector('#plan svg') !== null").await;
    assert_eq!(browser.text(hidden).await, "hidden");
    assert_eq!(browser.console_errors().await, Vec::<String>::new());
    browser.stop().await;
}

/// Somebody edits the file on the disk while changes made on the page wait in its tab: the file is what stands, and the changes are taken up or
/// forgotten as asked, not lost by the way.
#[tokio::test(flavor = "multi_thread")]
async fn changes_to_another_state_of_the_file_are_taken_up_or_forgotten_as_asked() {
    let folder = tempfile::tempdir().expect("a folder");
    let costing = |cost: &str| {
        let text = twin::demo::DECK_TOML.replacen("cost = 450.0", &format!("cost = {cost}"), 1);
        std::fs::write(folder.path().join("deck.toml"), text).expect("written");
    };
    let serve = |port: &str| {
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_bedplate"));
        command.current_dir(folder.path()).args(["bench", "deck.toml", "--port", port]);
        Served::by(command)
    };
    costing("450.0");
    let bench = serve("0");
    let address = format!("http://{}/workbench", bench.address);
    let port = bench.address.rsplit(':').next().expect("a port").to_owned();
    let browser = opened(&bench).await;
    let x = place("B6", "x");
    let before = browser.number(&x).await;
    browser.drag("[data-cell=B6] .cell", -40, -20).await;
    browser.wait_for(&format!("{x} !== {before} && {AT_REST}")).await;
    let moved = browser.number(&x).await;

    // The file is another one when the page comes back: it stands there, and the change waits, over reloads too.
    drop(bench);
    costing("440.0");
    let bench = serve(&port);
    let text = "document.querySelector('#text').value";
    let asks = "document.querySelector('#plan svg') !== null && !document.querySelector('#kept-here').hidden";
    for _ in 0..2 {
        browser.open(&address).await;
        browser.wait_for(asks).await;
        let said = browser.text("document.querySelector('#kept-here').textContent").await;
        assert!(said.contains("The file has changed since changes were made on this page"), "{said}");
        assert!(browser.text(text).await.contains("cost = 440.0"));
        assert!((browser.number(&x).await - before).abs() < 1e-9, "nothing was changed by itself");
    }
    browser.assert_whole("changes to another state of the file").await;
    browser.click_button("Take them up").await;
    browser.wait_for(&format!("{x} === {moved} && {AT_REST}")).await;
    assert!(browser.text(text).await.contains("cost = 450.0"), "they were made to the file as it was");
    // One press back is the file as it stands.
    browser.click("#undo").await;
    browser.wait_for(&format!("{x} === {before} && {text}.includes('cost = 440.0') && {AT_REST}")).await;
    browser.click("#redo").await;
    browser.wait_for(&format!("{x} === {moved} && {AT_REST}")).await;

    // Once more, and this time they are to go.
    drop(bench);
    costing("430.0");
    let _bench = serve(&port);
    browser.open(&address).await;
    browser.wait_for(asks).await;
    browser.click_button("Forget them").await;
    browser.wait_for("document.querySelector('#kept-here').hidden").await;
    browser.open(&address).await;
    browser.wait_for("document.querySelector('#plan svg') !== null").await;
    assert_eq!(browser.text("String(document.querySelector('#kept-here').hidden)").await, "true");
    assert!(browser.text(text).await.contains("cost = 430.0"));
    assert!((browser.number(&x).await - before).abs() < 1e-9);
    assert_eq!(browser.console_errors().await, Vec::<String>::new());
    browser.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn undo_goes_back_to_where_a_hand_began_however_fast_it_is_pressed() {
    let demo = Served::demo();
    let browser = opened(&demo).await;
    let (x, y) = (place("B6", "x"), place("B6", "y"));
    let at = [browser.number(&x).await, browser.number(&y).await];
    // A drag of many places on the way is one change.
    browser.drag("[data-cell=B6] .cell", -60, 30).await;
    browser.wait_for(&format!("{x} !== {} && {AT_REST}", at[0])).await;
    browser.wait_for("document.querySelector('#undo').disabled === false").await;
    browser.click("#undo").await;
    browser.wait_for(&format!("{x} === {} && {y} === {} && {AT_REST}", at[0], at[1])).await;
    assert_eq!(browser.text("String(document.querySelector('#undo').disabled)").await, "true", "nothing is left of it");
    // Two changes, and two presses before the first is answered.
    for more in [5.0, 10.0] {
        browser.number("(document.querySelector('[data-cell=B6]').focus(), 1)").await;
        browser.press_right().await;
        browser.wait_for(&format!("{x} === {} && {AT_REST}", at[0] + more)).await;
    }
    browser.number("(document.querySelector('#undo').click(), document.querySelector('#undo').click(), 1)").await;
    browser.wait_for(&format!("{x} === {} && {AT_REST}", at[0])).await;
    assert_eq!(browser.text("document.querySelector('#diff').textContent").await, "Nothing.");
    browser.number("(document.querySelector('#redo').click(), document.querySelector('#redo').click(), 1)").await;
    browser.wait_for(&format!("{x} === {} && {AT_REST}", at[0] + 10.0)).await;
    // A hand leaves the whole ring of a cell on its plate; the first plate's corner is at the bottom left.
    browser.drag("[data-cell=B1] .cell", -300, 300).await;
    browser.wait_for(&format!("{} === 24 && {} === 24 && {AT_REST}", place("B1", "x"), place("B1", "y"))).await;
    assert_eq!(browser.console_errors().await, Vec::<String>::new());
    browser.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_search_is_there_again_after_a_reload() {
    let demo = Served::demo();
    let browser = opened(&demo).await;
    browser.number("(document.querySelectorAll('details').forEach((d) => { d.open = true; }), 1)").await;
    browser.set_value("#text", &small_space()).await;
    browser.click("#apply").await;
    browser
        .wait_for(&format!(
            "document.querySelector('#diff').textContent.includes('candidates_per_round = 20') && {AT_REST}"
        ))
        .await;
    browser.click("#search").await;
    browser.wait_for("document.querySelector('#found').textContent.includes('The search is done')").await;
    browser.open(&format!("http://{}/workbench", demo.address)).await;
    browser.wait_for("document.querySelectorAll('#front tbody tr').length > 0").await;
    browser.wait_for("document.querySelector('#front-plot .ytitle') !== null").await;
    // What the designs differ in stands on the axis.
    let axis = browser.text("document.querySelector('#front-plot .ytitle').textContent").await;
    assert_eq!(axis, "margin to the allowed deflection, mm");
    assert_eq!(browser.console_errors().await, Vec::<String>::new());
    browser.stop().await;
}
