// The whole window at four sizes, compared with small grey pictures of how it looked when somebody last looked.
// To renew them: IDLEHARK_BLESS=1 gui_tests "[window]" on a virtual display of 3840x2160, and look at the screens.
#include "gui/shell/window.hpp"

#include "tests/gui/window_scene.hpp"

#include <array>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <vector>

#include <SFML/Graphics/Image.hpp>
#include <catch2/catch.hpp>

namespace gui = idlehark::gui;

namespace {

struct ScreenSize {
    unsigned w, h;
    float scale;
};
constexpr std::array<ScreenSize, 4> kSizes{
    {{800, 600, 1.0F}, {1280, 800, 1.0F}, {1920, 1080, 1.2F}, {3840, 2160, 2.4F}}};

struct Page {
    const char* name;
    gui::Stage stage;
};
constexpr std::array<Page, 6> kPages{{{"gate", gui::Stage::gate},
                                      {"listen", gui::Stage::listen_first},
                                      {"spray", gui::Stage::spray},
                                      {"injectors", gui::Stage::injectors},
                                      {"compare", gui::Stage::compare},
                                      {"report", gui::Stage::report}}};

constexpr unsigned kAcross = 96;  // cells: a letter is less than one, a label or a bar is several

/// Grey, in cells averaged over their area.
struct Small {
    unsigned w = 0, h = 0;
    std::vector<double> grey;  ///< 0..255
};

Small smaller(const sf::Image& image) {
    const auto size = image.getSize();
    Small s{kAcross, kAcross * size.y / size.x, {}};
    s.grey.assign(std::size_t{s.w} * s.h, 0.0);
    std::vector<int> count(s.grey.size(), 0);
    for (unsigned y = 0; y < size.y; ++y)
        for (unsigned x = 0; x < size.x; ++x) {
            const auto c = image.getPixel(x, y);
            const auto cell = std::size_t{y * s.h / size.y} * s.w + x * s.w / size.x;
            s.grey[cell] += 0.299 * c.r + 0.587 * c.g + 0.114 * c.b;
            ++count[cell];
        }
    for (std::size_t i = 0; i < s.grey.size(); ++i) s.grey[i] /= count[i];
    return s;
}

/// How two small pictures differ: on average, and the share of cells that differ plainly.
struct Difference {
    double mean = 255.0;
    double plain_share = 1.0;
    /// Another version of the fonts or of the software renderer moves edges by a fraction of a pixel: a few grey levels
    /// in a cell that an edge runs through. A label gone or moved changes several cells by dozens.
    [[nodiscard]] bool same() const { return mean < 1.5 && plain_share < 0.004; }
};

Difference compared(const Small& a, const Small& b) {
    if (a.w != b.w || a.h != b.h) return {};
    Difference d{0.0, 0.0};
    for (std::size_t i = 0; i < a.grey.size(); ++i) {
        const double apart = std::abs(a.grey[i] - b.grey[i]);
        d.mean += apart;
        d.plain_share += apart > 24.0 ? 1.0 : 0.0;
    }
    d.mean /= static_cast<double>(a.grey.size());
    d.plain_share /= static_cast<double>(a.grey.size());
    return d;
}

/// The reference of a size holds its pages under each other.
sf::Image stacked(const std::vector<Small>& pages) {
    sf::Image all;
    all.create(pages[0].w, pages[0].h * static_cast<unsigned>(pages.size()));
    for (std::size_t p = 0; p < pages.size(); ++p)
        for (unsigned y = 0; y < pages[p].h; ++y)
            for (unsigned x = 0; x < pages[p].w; ++x) {
                const auto v = static_cast<sf::Uint8>(std::lround(pages[p].grey[std::size_t{y} * pages[p].w + x]));
                all.setPixel(x, static_cast<unsigned>(p) * pages[p].h + y, {v, v, v});
            }
    return all;
}

Small page_of(const sf::Image& all, std::size_t page) {
    Small s{all.getSize().x, all.getSize().y / static_cast<unsigned>(kPages.size()), {}};
    for (unsigned y = 0; y < s.h; ++y)
        for (unsigned x = 0; x < s.w; ++x) s.grey.push_back(all.getPixel(x, static_cast<unsigned>(page) * s.h + y).r);
    return s;
}

sf::Image picture_of(const ScreenSize& size, const Page& page) {
    gui::WindowOptions options;
    options.width = size.w;
    options.height = size.h;
    options.scale = size.scale;
    options.language = gui::Language::english;
    options.stage = page.stage;
    options.close_after_s = 0.25;
    options.last_picture = std::string{IDLEHARK_SCREENS} + "/window-" + page.name + "-" + std::to_string(size.w) + "x" +
                           std::to_string(size.h) + ".png";
    const auto scene = std::make_shared<const gui::ViewState>(gui::window_scene());
    const auto fault = gui::run_window({[&] { return scene; }, [](const gui::Command&) {}}, options);
    if (fault) FAIL(fault->what);
    sf::Image image;
    REQUIRE(image.loadFromFile(options.last_picture));
    CHECK(image.getSize().x == size.w);
    CHECK(image.getSize().y == size.h);
    return image;
}

}  // namespace

TEST_CASE("Window: looks as it did, at four sizes", "[gui][window][display]") {
    std::filesystem::create_directories(IDLEHARK_SCREENS);
    for (const auto& size : kSizes) {
        std::vector<Small> pages;
        for (const auto& page : kPages) pages.push_back(smaller(picture_of(size, page)));
        const auto reference = std::string{IDLEHARK_WINDOW_REFERENCES} + "/" + std::to_string(size.w) + "x" +
                               std::to_string(size.h) + ".png";
        if (std::getenv("IDLEHARK_BLESS")) REQUIRE(stacked(pages).saveToFile(reference));
        sf::Image all;
        REQUIRE(all.loadFromFile(reference));
        for (std::size_t p = 0; p < pages.size(); ++p) {
            const auto d = compared(pages[p], page_of(all, p));
            CAPTURE(size.w, size.h, kPages[p].name, d.mean, d.plain_share);
            CHECK(d.same());
            // The comparison can tell: no page passes for another.
            for (std::size_t other = 0; other < pages.size(); ++other)
                if (other != p) CHECK_FALSE(compared(pages[p], page_of(all, other)).same());
        }
    }
}

TEST_CASE("Window: a label that is gone is seen in the small picture", "[gui][window][display]") {
    const auto whole = smaller(picture_of(kSizes[1], kPages[2]));
    auto scene = gui::window_scene();
    scene.spots[8].verdict.reset();  // one verdict of ten is not shown
    gui::WindowOptions options;
    options.width = kSizes[1].w;
    options.height = kSizes[1].h;
    options.scale = 1.0F;
    options.language = gui::Language::english;
    options.stage = gui::Stage::spray;
    options.close_after_s = 0.25;
    options.last_picture = std::string{IDLEHARK_SCREENS} + "/window-without-a-verdict.png";
    const auto view = std::make_shared<const gui::ViewState>(std::move(scene));
    REQUIRE_FALSE(gui::run_window({[&] { return view; }, [](const gui::Command&) {}}, options));
    sf::Image image;
    REQUIRE(image.loadFromFile(options.last_picture));
    CHECK_FALSE(compared(smaller(image), whole).same());
}
