#include "gui/shell/layout.hpp"

#include <algorithm>
#include <cmath>

namespace idlehark::gui {

namespace {

// At scale 1, in pixels. A finger in a glove needs 12 mm: 44 px on an ordinary screen.
constexpr float kSayHeight = 84.0F;
constexpr float kStopWidth = 190.0F;
constexpr float kInstrumentHeight = 118.0F;
constexpr float kSpeedWidth = 268.0F;
constexpr float kLampWidth = 212.0F;
constexpr float kRailWithNames = 158.0F;
constexpr float kRailNarrow = 56.0F;
constexpr float kFoldedRail = 46.0F;
constexpr float kFlipWidth = 130.0F;
constexpr float kPageLeast = 400.0F;  // a form below this is no longer readable
constexpr float kMapLeast = 300.0F;

/// The page's share of what is left of the rail; 0: the page alone, without a map.
float page_share(Stage stage) {
    switch (stage) {
        case Stage::map:
        case Stage::listen_first:
        case Stage::spray:
            return 0.34F;
        case Stage::settle:
        case Stage::injectors:
        case Stage::report:
            return 0.5F;
        case Stage::describe:
            return 0.56F;
        case Stage::log:
        case Stage::gate:
        case Stage::compare:
            break;
    }
    return 0.0F;
}

}  // namespace

float scale_with_room(float asked, Size size) noexcept {
    constexpr float kLeastWidth = 480.0F;  // at 100 %: what a page and the instruments need to be of use
    constexpr float kLeastHeight = 360.0F;
    constexpr float kStep = 0.25F;  // few, as letters are made anew for each
    const float most = std::min(size.w / kLeastWidth, size.h / kLeastHeight);
    if (asked <= most) return asked;
    return std::max(1.0F, std::min(asked, std::floor(most / kStep) * kStep));
}

Layout lay_out(Size size, float scale, Stage stage, Front front) {
    const float s = std::clamp(scale, 1.0F, 3.0F);
    Layout out;
    // Where the scale asks for more than the window has, the bands give way before the middle does.
    const float say_h = std::min(kSayHeight * s, 0.2F * size.h);
    const float stop_w = std::min(kStopWidth * s, 0.3F * size.w);
    const float low_h = std::min(kInstrumentHeight * s, 0.24F * size.h);
    out.say = {0.0F, 0.0F, size.w - stop_w, say_h};
    out.stop = {size.w - stop_w, 0.0F, stop_w, say_h};

    const float low_y = size.h - low_h;
    const float speed_w = std::min(kSpeedWidth * s, 0.4F * size.w);
    const float lamp_w = size.w - speed_w > (kLampWidth + 80.0F) * s ? kLampWidth * s : 0.4F * (size.w - speed_w);
    out.speed = {0.0F, low_y, speed_w, low_h};
    out.lamps = {size.w - lamp_w, low_y, lamp_w, low_h};
    out.trace = {speed_w, low_y, size.w - speed_w - lamp_w, low_h};

    Rect middle{0.0F, say_h, size.w, low_y - say_h};
    const float per_station = middle.h / static_cast<float>(kStages);
    const bool standing = size.w >= 760.0F * s && per_station >= 26.0F * s;
    if (standing) {
        out.station_names = size.w >= 1000.0F * s;
        out.rail = {0.0F, middle.y, (out.station_names ? kRailWithNames : kRailNarrow) * s, middle.h};
        for (std::size_t i = 0; i < kStages; ++i)
            out.stations[i] = {0.0F, middle.y + per_station * static_cast<float>(i), out.rail.w, per_station};
        middle.x = out.rail.w;
        middle.w -= out.rail.w;
    } else {
        out.rail = {0.0F, middle.y, size.w, std::min(kFoldedRail * s, 0.2F * middle.h)};
    }

    const float share = page_share(stage);
    const float page_w = std::max(kPageLeast * s, share * middle.w);
    const bool both = share > 0.0F && middle.w - page_w >= kMapLeast * s;
    if (!standing) {
        if (share > 0.0F && !both) {
            const float flip_w = std::min(kFlipWidth * s, 0.3F * size.w);
            out.flip = {size.w - flip_w, out.rail.y, flip_w, out.rail.h};
            out.rail.w -= flip_w;
        }
        for (std::size_t i = 0; i < kStages; ++i) {
            const float w = out.rail.w / static_cast<float>(kStages);
            out.stations[i] = {w * static_cast<float>(i), out.rail.y, w, out.rail.h};
        }
        middle.y += out.rail.h;
        middle.h -= out.rail.h;
    } else if (share > 0.0F && !both) {
        const float flip_h = std::min(kFoldedRail * s, 0.2F * middle.h);
        out.flip = {middle.x, middle.y, middle.w, flip_h};
        middle.y += flip_h;
        middle.h -= flip_h;
    }

    if (share == 0.0F) {
        out.page = middle;
    } else if (both) {
        out.map = {middle.x, middle.y, middle.w - page_w, middle.h};
        out.page = {middle.x + middle.w - page_w, middle.y, page_w, middle.h};
    } else {
        (front == Front::page ? out.page : out.map) = middle;
    }
    return out;
}

}  // namespace idlehark::gui
