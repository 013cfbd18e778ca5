#include "dsp/picture/picture_pixels.hpp"

#include <algorithm>
#include <array>
#include <cstddef>
#include <optional>
#include <utility>

namespace idlehark {

namespace {

using Bytes = std::span<const std::uint8_t>;

/// Reads whole numbers of either byte order, and nothing beyond the end.
struct Reader {
    Bytes bytes;
    bool little = false;

    [[nodiscard]] std::optional<std::uint32_t> number(std::size_t at, std::size_t size) const {
        if (at > bytes.size() || bytes.size() - at < size) return std::nullopt;
        std::uint32_t value = 0;
        for (std::size_t i = 0; i < size; ++i) value = value << 8u | bytes[at + (little ? size - 1 - i : i)];
        return value;
    }
};

}  // namespace

int exif_orientation(Bytes app1) {
    constexpr std::array<std::uint8_t, 6> kExif{'E', 'x', 'i', 'f', 0, 0};
    if (app1.size() < kExif.size() || !std::equal(kExif.begin(), kExif.end(), app1.begin())) return 1;
    Reader tiff{app1.subspan(kExif.size())};
    const auto byte_order = tiff.number(0, 2);
    if (!byte_order || (*byte_order != 0x4949 && *byte_order != 0x4d4d)) return 1;
    tiff.little = *byte_order == 0x4949;
    const auto directory = tiff.number(4, 4);
    if (!directory) return 1;
    const auto entries = tiff.number(*directory, 2);
    if (!entries) return 1;
    for (std::uint32_t i = 0; i < *entries; ++i) {
        const std::size_t entry = std::size_t{*directory} + 2 + std::size_t{12} * i;
        const auto tag = tiff.number(entry, 2);
        const auto value = tiff.number(entry + 8, 2);
        if (!tag || !value) return 1;
        if (*tag == 0x0112) return *value >= 1 && *value <= 8 ? static_cast<int>(*value) : 1;
    }
    return 1;
}

void turn_upright(PicturePixels& p, int orientation) {
    if (orientation <= 1 || orientation > 8) return;
    const bool crossed = orientation >= 5;
    const std::uint32_t width = crossed ? p.height_px : p.width_px;
    const std::uint32_t height = crossed ? p.width_px : p.height_px;
    std::vector<std::uint8_t> turned(p.rgba.size());
    for (std::uint32_t y = 0; y < height; ++y)
        for (std::uint32_t x = 0; x < width; ++x) {
            // Where the pixel that shall be seen at x, y is stored.
            std::uint32_t from_x = crossed ? y : x;
            std::uint32_t from_y = crossed ? x : y;
            if (orientation == 2 || orientation == 3 || orientation == 7 || orientation == 8)
                from_x = p.width_px - 1 - from_x;
            if (orientation == 3 || orientation == 4 || orientation == 6 || orientation == 7)
                from_y = p.height_px - 1 - from_y;
            std::copy_n(p.rgba.begin() + static_cast<std::ptrdiff_t>(4 * (std::size_t{from_y} * p.width_px + from_x)),
                        4, turned.begin() + static_cast<std::ptrdiff_t>(4 * (std::size_t{y} * width + x)));
        }
    p.rgba = std::move(turned);
    p.width_px = width;
    p.height_px = height;
}

void shrink(PicturePixels& p, std::uint32_t longest_px) {
    const std::uint32_t by = (std::max(p.width_px, p.height_px) + longest_px - 1) / longest_px;
    if (by <= 1) return;
    const std::uint32_t width = std::max(1u, p.width_px / by);
    const std::uint32_t height = std::max(1u, p.height_px / by);
    const std::uint32_t tall = std::min(by, p.height_px);
    const std::uint32_t wide = std::min(by, p.width_px);
    std::vector<std::uint8_t> small(std::size_t{4} * width * height);
    for (std::uint32_t y = 0; y < height; ++y)
        for (std::uint32_t x = 0; x < width; ++x) {
            std::array<std::uint32_t, 4> sum{};
            for (std::uint32_t v = 0; v < tall; ++v) {
                const std::uint8_t* pixel =
                    p.rgba.data() + 4 * (std::size_t{y * by + v} * p.width_px + std::size_t{x} * by);
                for (std::uint32_t u = 0; u < wide; ++u)
                    for (auto& s : sum) s += *pixel++;
            }
            for (std::size_t c = 0; c < 4; ++c)
                small[4 * (std::size_t{y} * width + x) + c] = static_cast<std::uint8_t>(sum[c] / (tall * wide));
        }
    p.rgba = std::move(small);
    p.width_px = width;
    p.height_px = height;
}

}  // namespace idlehark
