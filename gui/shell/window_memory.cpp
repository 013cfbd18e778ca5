#include "gui/shell/window_memory.hpp"

#include <algorithm>
#include <cmath>
#include <sstream>

#include <fmt/format.h>

namespace idlehark::gui {

namespace {
constexpr int kFarthest = 32768;
constexpr unsigned kSmallest = 320;
}  // namespace

std::optional<WindowMemory> memory_from_text(const std::string& text) {
    std::istringstream in{text};
    in.imbue(std::locale::classic());
    WindowMemory m;
    std::string language;
    if (!(in >> m.x >> m.y >> m.w >> m.h >> m.scale >> language)) return {};
    const auto far = [](int v) { return v < -kFarthest || v > kFarthest; };
    if (far(m.x) || far(m.y) || m.w < kSmallest || m.h < kSmallest * 3 / 4 || m.w > kFarthest || m.h > kFarthest)
        return {};
    if (!std::isfinite(m.scale) || (m.scale != 0.0F && (m.scale < 1.0F || m.scale > 3.0F))) return {};
    if (language != "en" && language != "de") return {};
    m.language = language == "de" ? Language::german : Language::english;
    return m;
}

std::string to_text(const WindowMemory& m) {
    return fmt::format("{} {} {} {} {:.2f} {}\n", m.x, m.y, m.w, m.h, static_cast<double>(m.scale),
                       m.language == Language::german ? "de" : "en");
}

float scale_for_height(float height_px) noexcept {
    constexpr float kHeightAt100 = 800.0F;
    return std::clamp(std::round((1.0F + (height_px - kHeightAt100) / kHeightAt100 * 0.82F) * 10.0F) / 10.0F, 1.0F,
                      3.0F);
}

}  // namespace idlehark::gui
