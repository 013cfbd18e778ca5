#include "gui/flow/flow.hpp"

#include "gui/flow/sentence.hpp"
#include "gui/shell/held_keys.hpp"
#include "gui/shell/window_memory.hpp"
#include "gui/words.hpp"

#include <array>
#include <memory>
#include <set>
#include <string>
#include <variant>
#include <vector>

#include <catch2/catch.hpp>

namespace gui = idlehark::gui;

namespace {

gui::ViewState prompting(bool gate_open) {
    gui::ViewState view;
    view.gate.open = gate_open;
    view.spray.phase = gui::SprayPhase::prompt;
    view.spray.spot = "7";
    view.spray.spot_name = "plenum gasket";
    return view;
}

/// How often each field is filled in, in order of mention.
std::string fields(const std::string& text) {
    std::string found;
    for (std::size_t i = text.find('{'); i != std::string::npos; i = text.find('{', i + 1))
        found += text.substr(i, text.find('}', i) - i + 1);
    return found;
}

}  // namespace

TEST_CASE("Flow: no state with a shut gate tells anybody to spray", "[gui][flow]") {
    const gui::Words say;
    const auto view = prompting(false);
    CHECK_FALSE(gui::prompts_spray(view));
    for (int s = 0; s < static_cast<int>(gui::kStages); ++s)
        CHECK(gui::next_step(view, static_cast<gui::Stage>(s), say) == say(gui::Word::next_spray_shut));
}

TEST_CASE("Flow: a prompt is said on every page, with the spot's number and name", "[gui][flow]") {
    gui::Words say;
    for (const auto language : {gui::Language::english, gui::Language::german}) {
        say.language = language;
        for (int s = 0; s < static_cast<int>(gui::kStages); ++s) {
            const auto text = gui::next_step(prompting(true), static_cast<gui::Stage>(s), say);
            CHECK(text.find('7') != std::string::npos);
            CHECK(text.find(say.known("plenum gasket")) != std::string::npos);
        }
    }
}

TEST_CASE("Flow: once a test is over, and before it began, its keys ask for nothing", "[gui][flow]") {
    using Pedal = gui::Flow::Pedal;
    const gui::Words say;
    const gui::Type type{};
    auto view = prompting(true);
    view.sound.running = true;
    view.spray.bursts = 3;
    std::vector<gui::Command> sent;
    const gui::PageContext c{
        view, say, type, 1.0F, [&](gui::Command command) { sent.push_back(std::move(command)); }, [](gui::Stage) {}};
    gui::Flow flow;
    const auto press_all = [&] {
        sent.clear();
        for (const auto p : {Pedal::spray, Pedal::repeat, Pedal::skip, Pedal::wrong, Pedal::undo, Pedal::pause})
            flow.pedal(c, p);
        return sent.size();
    };
    CHECK(press_all() == 5);  // all but "wrong spot", which asks for the right one first
    for (const auto phase : {gui::SprayPhase::finished, gui::SprayPhase::stopped}) {
        view.spray.phase = phase;
        CHECK(press_all() == 0);
    }
    view.spray.phase = gui::SprayPhase::shut;
    CHECK(press_all() == 1);
    CHECK(std::holds_alternative<gui::ask::StartSpray>(sent[0]));
}

TEST_CASE("Held keys: a key that stays down is a repeat until it is let go", "[gui][flow]") {
    using K = sf::Keyboard;
    gui::HeldKeys held;
    CHECK_FALSE(held.press(K::U));
    CHECK(held.press(K::U));
    CHECK_FALSE(held.press(K::K));
    held.release(K::U);
    CHECK_FALSE(held.press(K::U));
    CHECK(held.press(K::K));
    held.keep([](K::Key key) { return key == K::K; });  // U was let go while another window had the keyboard
    CHECK(held.press(K::K));
    CHECK_FALSE(held.press(K::U));
    CHECK_FALSE(held.press(K::Unknown));
    CHECK_FALSE(held.press(K::Unknown));
    held.release(K::Unknown);
}

TEST_CASE("Flow: a sham prompt says not to press", "[gui][flow]") {
    const gui::Words say;
    auto view = prompting(true);
    view.spray.sham = true;
    CHECK(gui::next_step(view, gui::Stage::spray, say) == say(gui::Word::next_spray_sham, "7"));
}

TEST_CASE("Flow: a quiet idle that is heard asks for spots, or for patience, and no more seconds", "[gui][flow]") {
    const gui::Words say;
    gui::ViewState view;
    view.sound.running = true;
    view.settle.heard_s = 10.0;
    CHECK(gui::next_step(view, gui::Stage::settle, say) == say(gui::Word::next_settle, 15.0));
    view.settle.heard_s = 25.0;
    CHECK(gui::next_step(view, gui::Stage::settle, say) == say(gui::Word::next_settle_map));
    view.map.spots.resize(1);
    CHECK(gui::next_step(view, gui::Stage::settle, say) == say(gui::Word::next_settle_reckons));
}

TEST_CASE("Flow: the map of a practice bay, and of a test that is over, asks for no more spots", "[gui][flow]") {
    const gui::Words say;
    auto view = prompting(true);
    view.map.spots.resize(1);
    view.spray.phase = gui::SprayPhase::shut;
    CHECK(gui::next_step(view, gui::Stage::map, say) == say(gui::Word::next_map, 1));
    view.sound.mode = gui::Mode::practice;
    CHECK(gui::next_step(view, gui::Stage::map, say) == say(gui::Word::next_map_practice, 1));
    view.spray.phase = gui::SprayPhase::finished;
    CHECK(gui::next_step(view, gui::Stage::map, say) == say(gui::Word::next_spray_done));
}

TEST_CASE("Flow: every pause says not to spray, and why", "[gui][flow]") {
    const gui::Words say;
    auto view = prompting(true);
    view.spray.phase = gui::SprayPhase::paused;
    std::set<std::string> sentences;
    for (const auto why : {gui::PauseReason::lock_lost, gui::PauseReason::not_at_baseline, gui::PauseReason::sound_lost,
                           gui::PauseReason::by_hand}) {
        view.spray.pause = why;
        CHECK_FALSE(gui::prompts_spray(view));
        sentences.insert(gui::next_step(view, gui::Stage::spray, say));
    }
    CHECK(sentences.size() == 4);
}

TEST_CASE("Flow: several spots of one pass are asked for together", "[gui][flow]") {
    const gui::Words say;
    auto view = prompting(true);
    view.spray.spots = {"7", "8", "9"};
    view.spray.spot = "7, 8, 9";
    CHECK(gui::next_step(view, gui::Stage::spray, say) == say(gui::Word::next_spray_together, "7, 8 and 9"));
    view.spray.spots = {"7", "8"};
    CHECK(gui::next_step(view, gui::Stage::spray, say) == say(gui::Word::next_spray_together, "7 and 8"));
}

TEST_CASE("Flow: results of spots that are on the map no more are still told", "[gui][flow]") {
    const gui::Words say;
    gui::ViewState view;
    view.map.spots.resize(1);
    view.map.spots[0].spot = "1";
    view.spots.resize(1);
    view.spots[0].place = view.map.spots[0];
    auto kept = std::make_shared<gui::KeptCase>();
    kept->visits.resize(1);
    kept->visits[0].id = 4;
    gui::KeptTest test;
    test.spots.push_back({.spot = "1", .bursts = 2, .verdict = idlehark::SprayVerdict::none_seen});
    test.spots.push_back({.spot = "9", .bursts = 3, .change_rpm = 31.0, .verdict = idlehark::SprayVerdict::leak});
    test.spots.push_back({.spot = "11"});  // never sprayed: nothing is lost with it
    kept->visits[0].tests.push_back(test);
    gui::KeptHiss hiss;
    hiss.spot = "9";
    hiss.level_db = 8.0;
    hiss.verdict = idlehark::HissVerdict::stands_out;
    kept->visits[0].hiss.push_back(hiss);
    view.kept = kept;
    CHECK(gui::spots_with_results(view, say).size() == 1);  // no visit is shown
    view.visit_shown = 4;
    const auto spots = gui::spots_with_results(view, say);
    REQUIRE(spots.size() == 2);
    CHECK(spots[1].place.spot == "9");
    CHECK(spots[1].place.name == say(gui::Word::not_on_map));
    CHECK(spots[1].verdict == idlehark::SprayVerdict::leak);
    CHECK(spots[1].hiss_db == 8.0);
    CHECK(gui::verdict_sentence(view, say).find('9') != std::string::npos);
    CHECK(gui::hiss_sentence(view, say).find('9') != std::string::npos);
}

TEST_CASE("Flow: a point answered no is said before anything else of the gate", "[gui][flow]") {
    const gui::Words say;
    gui::ViewState view;
    CHECK(gui::next_step(view, gui::Stage::gate, say) == say(gui::Word::next_gate_alternatives));
    view.gate.alternatives_seen = true;
    view.gate.answers[0] = true;
    CHECK(gui::next_step(view, gui::Stage::gate, say) == say(gui::Word::next_gate, 1));
    view.gate.answers[4] = false;
    CHECK(gui::next_step(view, gui::Stage::gate, say) == say(gui::Word::next_gate_no));
}

TEST_CASE("Flow: results in sentences, in both languages, from the state alone", "[gui][flow]") {
    gui::ViewState view;
    gui::Words say;
    CHECK(gui::verdict_sentence(view, say) == say(gui::Word::report_nothing));
    CHECK(gui::hiss_sentence(view, say).empty());
    CHECK(gui::injectors_sentence(view, say).empty());
    const auto spot = [&](const char* id, const char* name, idlehark::SprayVerdict verdict) {
        gui::SpotView s;
        s.place.spot = id;
        s.place.name = name;
        s.verdict = verdict;
        view.spots.push_back(s);
    };
    spot("3", "throttle shaft", idlehark::SprayVerdict::none_seen);
    CHECK(gui::verdict_sentence(view, say) == say(gui::Word::found_no_leak));
    spot("7", "plenum gasket", idlehark::SprayVerdict::leak);
    spot("9", "", idlehark::SprayVerdict::leak);
    spot("11", "", idlehark::SprayVerdict::undecided);
    view.spots[0].hiss_verdict = idlehark::HissVerdict::ordinary;
    CHECK(gui::hiss_sentence(view, say) == say(gui::Word::hiss_none));
    view.spots[0].hiss_verdict = idlehark::HissVerdict::loud_open;
    CHECK(gui::hiss_sentence(view, say) == say(gui::Word::hiss_loud, view.spots[0].place.spot));
    view.spots[0].hiss_verdict = idlehark::HissVerdict::undecided;
    CHECK(gui::hiss_sentence(view, say) == say(gui::Word::hiss_few));
    view.spots[1].hiss_verdict = idlehark::HissVerdict::stands_out;
    for (int c = 1; c <= 3; ++c) {
        view.injectors.emplace_back();
        view.injectors.back().cylinder = c;
        view.injectors.back().judged = idlehark::InjectorVerdict::regular;
    }
    CHECK(gui::injectors_sentence(view, say) == say(gui::Word::injectors_all_regular));
    view.injectors[1].judged = idlehark::InjectorVerdict::silent;
    gui::CompareState compare;
    compare.lines.resize(3);
    compare.lines[0].figure = "spot 7";
    compare.lines[0].verdict = idlehark::ChangeVerdict::better;
    compare.lines[1].figure = "injector 2, missed clicks";
    compare.lines[1].verdict = compare.lines[2].verdict = idlehark::ChangeVerdict::no_proven;
    for (const auto language : {gui::Language::english, gui::Language::german}) {
        say.language = language;
        const auto text = gui::verdict_sentence(view, say);
        CHECK(text.find("7 (" + say.known("plenum gasket") + "), 9") != std::string::npos);
        CHECK(text.find("11") != std::string::npos);
        CHECK(gui::hiss_sentence(view, say).find('7') != std::string::npos);
        CHECK(gui::injectors_sentence(view, say).find('2') != std::string::npos);
        const auto changed = gui::compare_sentence(compare, say);
        CHECK(changed.find(say.known("spot 7")) != std::string::npos);
        CHECK(changed.find(say(gui::Word::compare_others, 2)) != std::string::npos);
    }
}

TEST_CASE("Flow: balance in a sentence says proven faults, or that all is even, or neither", "[gui][flow]") {
    const gui::Words say;
    gui::BalanceState balance;
    balance.named = true;
    for (const char* name : {"1", "2", "3"}) {
        balance.cylinders.emplace_back();
        balance.cylinders.back().name = name;
        balance.cylinders.back().verdict = idlehark::CylinderVerdict::even;
    }
    CHECK(gui::balance_sentence(balance, say) == say(gui::Word::balance_even));
    balance.cylinders[1].verdict = idlehark::CylinderVerdict::undecided;
    CHECK(gui::balance_sentence(balance, say) == say(gui::Word::balance_undecided));
    balance.cylinders[2].verdict = idlehark::CylinderVerdict::weak;
    CHECK(gui::balance_sentence(balance, say) == say(gui::Word::balance_found, "3", say(gui::Word::cylinder_weak)));
}

TEST_CASE("Flow: no kept visit opens a way to a prompt", "[gui][flow]") {
    gui::ViewState view;
    auto kept = std::make_shared<gui::KeptCase>();
    kept->visits.emplace_back();
    kept->visits[0].id = 1;
    kept->visits[0].answers.assign(gui::kGatePoints, {"question", true, "then"});
    view.kept = kept;
    view.visit_shown = 1;
    view.sound.mode = gui::Mode::kept;
    const gui::Words say;
    CHECK_FALSE(gui::prompts_spray(view));
    CHECK(gui::next_step(view, gui::Stage::spray, say) == say(gui::Word::next_spray_shut));
    CHECK(gui::next_step(view, gui::Stage::gate, say) == say(gui::Word::next_gate_alternatives));
}

TEST_CASE("Words: both languages have every word, with the same fields", "[gui][words]") {
    for (int w = 0; w < static_cast<int>(gui::Word::count); ++w) {
        const std::string english = gui::text(static_cast<gui::Word>(w), gui::Language::english);
        const std::string german = gui::text(static_cast<gui::Word>(w), gui::Language::german);
        CAPTURE(english, german);
        CHECK_FALSE(english.empty());
        CHECK_FALSE(german.empty());
        CHECK(fields(english) == fields(german));
    }
}

TEST_CASE("Words: what the program behind the window says is known by its pattern, all else stays as it is",
          "[gui][words]") {
    gui::Words say;
    CHECK(say.known("fuel pressure") == "fuel pressure");
    say.language = gui::Language::german;
    CHECK(say.known("fuel pressure") == "Kraftstoffdruck");
    CHECK(say.known("spot 7") == "Stelle 7");
    CHECK(say.known("injector 2, missed clicks") == "Düse 2, fehlende Klicks");
    CHECK(say.known("The burst on 7, 8 at 31 s no longer counts; the recording keeps it.") ==
          "Der Stoß auf 7, 8 bei 31 s zählt nicht mehr; die Aufnahme behält ihn.");
    CHECK(say.known("Next comes spots 3 and 4 once more.") == "Als Nächstes noch einmal Stellen 3 und 4.");
    for (const char* other : {"", "spot", "the user's own line", "fuel pressure, again", "{}"})
        CHECK(say.known(other) == other);
    // No pattern stands in the way of another: each sentence of the section is told in its own words.
    for (int w = static_cast<int>(gui::Word::said_practice); w < static_cast<int>(gui::Word::count); ++w) {
        const std::string english = gui::text(static_cast<gui::Word>(w), gui::Language::english);
        if (english.find('{') != std::string::npos) continue;
        CHECK(say.known(english) == gui::text(static_cast<gui::Word>(w), gui::Language::german));
    }
}

TEST_CASE("Words: ten questions and ten pages, all different", "[gui][words]") {
    std::set<gui::Word> questions, pages;
    for (std::size_t i = 0; i < gui::kGatePoints; ++i) questions.insert(gui::question(static_cast<gui::GatePoint>(i)));
    for (std::size_t i = 0; i < gui::kStages; ++i) pages.insert(gui::name_of(static_cast<gui::Stage>(i)));
    CHECK(questions.size() == gui::kGatePoints);
    CHECK(pages.size() == gui::kStages);
}

TEST_CASE("Window memory: what was written comes back, anything else is left aside", "[gui][memory]") {
    const gui::WindowMemory m{40, -7, 1440, 900, 1.5F, gui::Language::german};
    CHECK(gui::memory_from_text(gui::to_text(m)) == m);
    for (const char* text : {"", "1 2 3", "0 0 10 10 1 en", "0 0 1280 800 9 en", "0 0 1280 800 1 xx", "a b c d e f",
                             "0 0 99999999 800 1 en", "0 0 1280 800 nan en"})
        CHECK_FALSE(gui::memory_from_text(text).has_value());
}

TEST_CASE("Window memory: scale of a screen nobody chose one for", "[gui][memory]") {
    CHECK(gui::scale_for_height(600.0F) == 1.0F);
    CHECK(gui::scale_for_height(800.0F) == 1.0F);
    CHECK(gui::scale_for_height(2160.0F) == Approx(2.4F));
    CHECK(gui::scale_for_height(20000.0F) == 3.0F);
}
