#include "dsp/picture/picture_file.hpp"

#include <array>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <random>

#include <SFML/Graphics/Image.hpp>
#include <catch2/catch.hpp>
#include <sys/resource.h>

using namespace idlehark;
using idlehark::PicturePixels;
using Bytes = std::vector<std::uint8_t>;

namespace {

constexpr std::uint32_t kLongestSide_px = 2048;

/// A picture whose quarters are red, green, blue, white (left to right, top to bottom), as a file.
Bytes file_of(unsigned w, unsigned h, const char* ending) {
    sf::Image image;
    image.create(w, h);
    for (unsigned y = 0; y < h; ++y)
        for (unsigned x = 0; x < w; ++x)
            image.setPixel(x, y,
                           y < h / 2 ? (x < w / 2 ? sf::Color::Red : sf::Color::Green)
                                     : (x < w / 2 ? sf::Color::Blue : sf::Color::White));
    const auto path = std::filesystem::temp_directory_path() /
                      ("idlehark-picture-" + std::to_string(std::random_device{}()) + ending);
    REQUIRE(image.saveToFile(path.string()));
    std::ifstream in{path, std::ios::binary};
    Bytes bytes{std::istreambuf_iterator<char>{in}, {}};
    std::filesystem::remove(path);
    return bytes;
}

/// An Exif segment that says how the camera was held, put behind the start of a JPEG.
Bytes with_orientation(Bytes jpeg, std::uint8_t orientation, bool little) {
    Bytes tiff = little ? Bytes{'I', 'I', 42, 0, 8, 0, 0, 0, 1, 0, 0x12, 0x01, 3, 0, 1, 0, 0, 0, orientation, 0, 0, 0}
                        : Bytes{'M', 'M', 0, 42, 0, 0, 0, 8, 0, 1, 0x01, 0x12, 0, 3, 0, 0, 0, 1, 0, orientation, 0, 0};
    tiff.insert(tiff.end(), {0, 0, 0, 0});
    Bytes segment{0xff, 0xe1, 0, static_cast<std::uint8_t>(2 + 6 + tiff.size()), 'E', 'x', 'i', 'f', 0, 0};
    segment.insert(segment.end(), tiff.begin(), tiff.end());
    jpeg.insert(jpeg.begin() + 2, segment.begin(), segment.end());
    return jpeg;
}

/// Which colour a quarter has: "R", "G", "B", "W".
char quarter(const PicturePixels& p, bool right, bool below) {
    const auto x = p.width_px * (right ? 3 : 1) / 4;
    const auto y = p.height_px * (below ? 3 : 1) / 4;
    const auto* const c = p.rgba.data() + 4 * (std::size_t{y} * p.width_px + x);
    const bool r = c[0] > 128;
    const bool g = c[1] > 128;
    const bool b = c[2] > 128;
    return r && g && b ? 'W' : r ? 'R' : g ? 'G' : b ? 'B' : '?';
}
std::string quarters(const PicturePixels& p) {
    return {quarter(p, false, false), quarter(p, true, false), quarter(p, false, true), quarter(p, true, true)};
}

}  // namespace

TEST_CASE("Picture: PNG and JPEG are read with their size", "[gui][map]") {
    const auto ending = GENERATE(".png", ".jpg");
    const auto file = file_of(96, 64, ending);
    const auto head = read_head(file);
    CHECK(head.fault.empty());
    CHECK(head.width_px == 96);
    CHECK(head.height_px == 64);
    CHECK(head.orientation == 1);
    const auto p = decode_picture(file, kLongestSide_px);
    REQUIRE(p.fault.empty());
    CHECK(p.pixels.width_px == 96);
    CHECK(quarters(p.pixels) == "RGBW");
}

TEST_CASE("Picture: a telephone's turn is respected, all eight of them", "[gui][map]") {
    struct Turn {
        std::uint8_t orientation;
        const char* seen;
    };
    // CIPA DC-008: 1 as stored; 2 mirrored; 3 half a turn; 4 upside down mirrored; 5..8 with rows and columns
    // exchanged.
    const auto turn = GENERATE(values<Turn>(
        {{1, "RGBW"}, {2, "GRWB"}, {3, "WBGR"}, {4, "BWRG"}, {5, "RBGW"}, {6, "BRWG"}, {7, "WGBR"}, {8, "GWRB"}}));
    const bool little = GENERATE(false, true);
    CAPTURE(int(turn.orientation), little);
    const auto p = decode_picture(with_orientation(file_of(96, 64, ".jpg"), turn.orientation, little), kLongestSide_px);
    REQUIRE(p.fault.empty());
    CHECK(p.pixels.width_px == (turn.orientation >= 5 ? 64 : 96));
    CHECK(quarters(p.pixels) == turn.seen);
}

TEST_CASE("Picture: a large photo is made small enough for any graphics card", "[gui][map]") {
    const auto p = decode_picture(file_of(5000, 3000, ".jpg"), kLongestSide_px);
    REQUIRE(p.fault.empty());
    CHECK(p.pixels.width_px <= kLongestSide_px);
    CHECK(p.pixels.width_px == 5000 / 3);
    CHECK(p.pixels.height_px == 3000 / 3);
    CHECK(quarters(p.pixels) == "RGBW");
}

TEST_CASE("Picture: what claims to be huge is refused before it is decoded", "[gui][map]") {
    auto png = file_of(96, 64, ".png");
    png[16] = 0;
    png[17] = 1;  // 65536 + 96 wide
    png[20] = 0;
    png[21] = 1;
    CHECK_THAT(decode_picture(png, kLongestSide_px).fault, Catch::Matchers::Contains("more than 120 million"));
    png[16] = png[20] = 0xff;
    CHECK_FALSE(decode_picture(png, kLongestSide_px).fault.empty());
    png[16] = png[17] = png[18] = png[19] = 0;
    CHECK(decode_picture(png, kLongestSide_px).fault == "The picture has no size.");
}

TEST_CASE("Picture: a chunk that claims gigabytes gets no room, though the file ends with its name", "[gui][map]") {
    constexpr std::size_t kWithHead = 33;  // start and IHDR
    const auto peak_kB = [] {
        rusage used{};
        getrusage(RUSAGE_SELF, &used);
        return used.ru_maxrss;
    };
    auto png = file_of(8, 4, ".png");
    png.resize(kWithHead);
    png.insert(png.end(), {0x7c, 0x7c, 0x7c, 0x0a, 't', 'E', 'X', 't'});
    const auto before_kB = peak_kB();
    CHECK_FALSE(decode_picture(png, kLongestSide_px).fault.empty());
    CHECK(peak_kB() < before_kB + 500'000);
}

TEST_CASE("Picture: damaged, cut and foreign files are refused with words, and never read beyond their end",
          "[gui][map]") {
    CHECK_FALSE(decode_picture({}, kLongestSide_px).fault.empty());
    const Bytes text{'h', 'e', 'l', 'l', 'o'};
    CHECK_THAT(decode_picture(text, kLongestSide_px).fault, Catch::Matchers::Contains("neither a JPEG nor a PNG"));
    std::mt19937 random{GENERATE(1u, 2u, 3u)};
    for (const auto* ending : {".jpg", ".png"}) {
        auto file = file_of(40, 30, ending);
        if (file[0] == 0xff) file = with_orientation(file, 6, true);
        for (std::size_t length = 0; length < std::min<std::size_t>(file.size(), 160); ++length) {
            const auto head = read_head(std::span{file}.first(length));
            if (length < 24) CHECK_FALSE(head.fault.empty());
        }
        for (int i = 0; i < 300; ++i) {
            auto hurt = file;
            for (int k = 0; k < 4; ++k)
                hurt[random() % std::min<std::size_t>(hurt.size(), 120)] = static_cast<std::uint8_t>(random());
            const auto head = read_head(hurt);
            CHECK((!head.fault.empty() || (head.width_px > 0 && head.orientation >= 1 && head.orientation <= 8)));
        }
    }
}
