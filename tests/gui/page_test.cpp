// The pages worked without a display: Dear ImGui lays them out, and the test types into their fields.
#include "gui/flow/flow.hpp"
#include "gui/flow/widgets.hpp"
#include "gui/shell/event_feed.hpp"

#include <algorithm>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include <catch2/catch.hpp>
#include <imgui/imgui.h>
#include <imgui/imgui_internal.h>

using namespace idlehark;
using namespace idlehark::gui;

namespace {

class ImGuiContextForTest {
   public:
    ImGuiContextForTest() {
        ImGui::CreateContext();
        auto& io = ImGui::GetIO();
        io.IniFilename = nullptr;
        io.ConfigFlags |= ImGuiConfigFlags_NavEnableKeyboard;
        unsigned char* pixels = nullptr;
        int w = 0, h = 0;
        io.Fonts->GetTexDataAsAlpha8(&pixels, &w, &h);
    }
    ~ImGuiContextForTest() { ImGui::DestroyContext(); }
    ImGuiContextForTest(const ImGuiContextForTest&) = delete;
    ImGuiContextForTest& operator=(const ImGuiContextForTest&) = delete;
};

void type(EventFeed& feed, const std::string& letters) {
    for (const char letter : letters) {
        sf::Event event{};
        event.type = sf::Event::TextEntered;
        event.text.unicode = static_cast<sf::Uint32>(letter);
        feed.take(event);
    }
}

/// A page high enough to show all of itself, and what it sent.
class Page {
   public:
    explicit Page(Stage stage) : stage_(stage) {}

    void frame() {
        const Size size{1000.0F, 2400.0F};
        feed_.begin_frame(size, 0.02F);
        ImGui::NewFrame();
        const PageContext c{view,        say_, type_, 1.0F, [this](Command asked) { sent.push_back(std::move(asked)); },
                            [](Stage) {}};
        flow.draw(c, stage_, {0.0F, 0.0F, size.w, size.h});
        flow.draw_above(c, size);
        ImGui::Render();
    }
    /// The ID that the page's fields lie in, and one pushed within it.
    [[nodiscard]] ImGuiID body() const {
        const auto& windows = ImGui::GetCurrentContext()->Windows;
        const auto* body = std::find_if(windows.begin(), windows.end(), [](const ImGuiWindow* w) {
            return std::string{w->Name}.find("/##body") != std::string::npos;
        });
        REQUIRE(body != windows.end());
        return (*body)->ID;
    }
    [[nodiscard]] ImGuiID within(const char* pushed, ImGuiID seed) const { return ImHashStr(pushed, 0, seed); }
    [[nodiscard]] ImGuiID within(int pushed, ImGuiID seed) const { return ImHashData(&pushed, sizeof pushed, seed); }
    /// What follows the engine and the log: another one's fields are others.
    [[nodiscard]] ImGuiID form() const { return within(static_cast<int>(view.engine_edition), body()); }

    /// Activates the field and puts these letters in the place of what it holds.
    void fill(const char* field, const std::string& letters, ImGuiID seed) {
        const ImGuiID id = within(field, seed);
        ImGui::ActivateItem(id);
        ImGui::GetCurrentContext()->NavNextActivateFlags = ImGuiActivateFlags_PreferInput;
        frame();
        REQUIRE(ImGui::GetActiveID() == id);
        ImGui::GetInputTextState(id)->SelectAll();
        type(feed_, letters);
        frame();
    }
    void press(const char* button) {
        ImGui::ActivateItem(within(button, body()));
        frame();
        frame();
    }
    template <class Asked>
    [[nodiscard]] const Asked* last() const {
        for (auto it = sent.rbegin(); it != sent.rend(); ++it)
            if (const auto* asked = std::get_if<Asked>(&*it)) return asked;
        return nullptr;
    }

    ViewState view;
    Flow flow;
    std::vector<Command> sent;

   private:
    ImGuiContextForTest imgui_;
    EventFeed feed_;
    Words say_;
    Type type_{};
    Stage stage_;
};

MapSpot spot(const char* id, const char* name) {
    MapSpot s;
    s.spot = id;
    s.name = name;
    return s;
}

}  // namespace

TEST_CASE("Pages: a decimal comma is a point where a number is typed, and a comma elsewhere", "[gui][pages]") {
    Page page{Stage::log};
    page.view.log.resize(1);
    page.frame();
    const auto line = page.within(0, page.form());
    page.fill("##reading", "2,5", line);
    REQUIRE(page.last<ask::SetLog>());
    CHECK(page.last<ask::SetLog>()->lines[0].reading == 2.5);
    page.fill("##note", "2,5 bar, warm", line);
    CHECK(page.last<ask::SetLog>()->lines[0].note == "2,5 bar, warm");
}

TEST_CASE("Pages: decimals typed after a whole number do not make it ten times as large", "[gui][pages]") {
    Page page{Stage::describe};
    page.frame();
    page.fill("##low", "650,7", page.form());
    REQUIRE(page.last<ask::SetEngine>());
    CHECK(page.last<ask::SetEngine>()->engine.idle_low_rpm == 650.0);
}

TEST_CASE("Pages: an opened case's engine takes the place of a form that had a fault", "[gui][pages]") {
    Page page{Stage::describe};
    page.view.engine.firing_order = {1, 3, 4, 2};
    page.frame();
    page.fill("##order", "1-3", page.form());
    REQUIRE(page.last<ask::SetEngine>() == nullptr);
    page.view.engine.cylinders = 6;
    page.view.engine.firing_order = {1, 5, 3, 6, 2, 4};
    ++page.view.engine_edition;
    page.frame();  // the letters of the field that is still active go nowhere
    page.frame();
    page.fill("##name", "six", page.form());
    const auto* asked = page.last<ask::SetEngine>();
    REQUIRE(asked);
    CHECK(asked->engine.cylinders == 6);
    CHECK(asked->engine.firing_order == page.view.engine.firing_order);
}

TEST_CASE("Pages: what is typed for one spot stays with it when another is pressed", "[gui][pages]") {
    Page page{Stage::map};
    page.view.map.spots = {spot("1", "gasket"), spot("2", "hose")};
    page.frame();
    page.flow.select_spot("1");
    page.frame();
    SECTION("a name") {
        page.fill("##name", "seal", page.within("1", page.body()));
        page.flow.select_spot("2");  // on the map
        page.frame();
        page.frame();
        const auto* asked = page.last<ask::SetMap>();
        REQUIRE(asked);
        CHECK(asked->map.find("1")->name == "seal");
        CHECK(asked->map.find("2")->name == "hose");
    }
    SECTION("a number, which counts though Enter was not pressed") {
        page.fill("##number", " 7", page.within("1", page.body()));
        CHECK(page.last<ask::SetMap>() == nullptr);
        page.flow.select_spot("2");
        page.frame();
        const auto* asked = page.last<ask::SetMap>();
        REQUIRE(asked);
        REQUIRE(asked->map.find("7"));
        CHECK(asked->map.find("7")->name == "gasket");
        CHECK(page.flow.selected_spot() == "2");
    }
    SECTION("a number, when the keyboard goes on") {
        page.fill("##number", "7", page.within("1", page.body()));
        ImGui::ClearActiveID();
        page.frame();
        REQUIRE(page.last<ask::SetMap>());
        CHECK(page.flow.selected_spot() == "7");
    }
    SECTION("a number that another spot has is refused") {
        page.fill("##number", "2", page.within("1", page.body()));
        ImGui::ClearActiveID();
        page.frame();
        CHECK(page.last<ask::SetMap>() == nullptr);
        CHECK(page.flow.selected_spot() == "1");
    }
}

TEST_CASE("Pages: the map's editor knows the engine as it is described now", "[gui][pages]") {
    Page page{Stage::map};
    page.view.map.spots = {spot("1", "gasket")};
    page.frame();
    page.view.engine.cylinders = 6;  // described anew on page 1
    page.frame();
    CHECK(page.flow.editor().set_cylinder("1", 6).empty());
    page.view.engine.cylinders = 4;
    page.frame();
    CHECK_FALSE(page.flow.editor().set_cylinder("1", 6).empty());
}

TEST_CASE("Pages: a spot that was taken back is chosen no more", "[gui][pages]") {
    Page page{Stage::map};
    page.view.map.spots = {spot("1", "gasket")};
    page.frame();
    std::string id;
    REQUIRE(page.flow.editor().place(0.0, 0.0, SpotKind::other, id).empty());
    page.flow.select_spot(id);
    page.frame();
    CHECK(page.flow.selected_spot() == id);
    page.flow.editor().undo();
    page.frame();
    CHECK(page.flow.selected_spot().empty());
}

TEST_CASE("Pages: a fault is never hidden by the chooser, and Esc closes what is opened first", "[gui][pages]") {
    const auto opened = [] {
        return ImGui::IsPopupOpen("", ImGuiPopupFlags_AnyPopupId | ImGuiPopupFlags_AnyPopupLevel);
    };
    Page page{Stage::map};
    page.view.map.spots = {spot("1", "gasket")};
    page.frame();
    CHECK_FALSE(close_popup());
    page.press("Photo...");
    CHECK(opened());
    CHECK(close_popup());
    page.frame();
    CHECK_FALSE(opened());
    page.press("Photo...");
    CHECK(opened());
    page.view.fault = Fault{"the sound has gone", "", 1};
    page.frame();
    CHECK_FALSE(opened());
}
