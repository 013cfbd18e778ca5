// Photos: of the map, kept in the case with it, and as they stand in the report.
#include "src/report/photo.hpp"

#include "src/casebook/case_report_of.hpp"
#include "src/casebook/export.hpp"
#include "src/casebook/picture_store.hpp"
#include "src/desk/desk_case.hpp"
#include "src/files/engine_file.hpp"
#include "tests/src/casebook_support.hpp"
#include "tests/src/pictures.hpp"

#include <filesystem>

#include <catch2/catch.hpp>
#include <fmt/format.h>
#include <sys/resource.h>

using namespace idlehark;
using Catch::Matchers::Contains;
using Catch::Matchers::StartsWith;
using test::jpeg_picture;
using test::ScratchFolder;
using test::with_segment;

namespace {

namespace fs = std::filesystem;

/// Engine and map as files; the map lies on "bay photo.jpg" beside it, taken with the telephone upright.
void put_files(const ScratchFolder& folder) {
    auto map = test::example_map();
    map.picture = "bay photo.jpg";
    REQUIRE(write_engine(folder.path("engine.json"), test::example_engine()));
    REQUIRE(write_map(folder.path("map.json"), map));
    static_cast<void>(folder.file(map.picture, with_segment(jpeg_picture(96, 64), test::camera_segment(6, true))));
}

test::Ran new_case_of(const ScratchFolder& folder, const std::string& place) {
    return test::run_idlehark(fmt::format("case new {0} --name Marlow --engine {1} --map {2}", place,
                                          folder.path("engine.json"), folder.path("map.json")));
}

Casebook reading(const std::string& place) {
    auto book = Casebook::open(place, Casebook::Access::read);
    if (!book) FAIL(book.error().what);
    return std::move(book.value());
}

std::string picture_of(const Casebook& book) {
    const auto map = book.map();
    REQUIRE(map);
    REQUIRE(map.value());
    return map.value()->map.picture;
}

}  // namespace

TEST_CASE("Photo: of what a camera wrote only which way up it is stays, in either byte order", "[casebook][photo]") {
    const bool little = GENERATE(true, false);
    const int orientation = GENERATE(1, 3, 6, 8);
    CAPTURE(little, orientation);
    const auto plain = jpeg_picture(96, 64);
    const auto clean = without_camera_data(with_segment(plain, test::camera_segment(orientation, little)));
    REQUIRE(clean);
    CHECK(*clean == (orientation == 1 ? plain : with_segment(plain, test::orientation_segment(orientation))));
    CHECK_THAT(*clean, !Contains("Anna") && !Contains("north"));
    CHECK(without_camera_data(*clean) == clean);
}

TEST_CASE("Photo: a map's photo is kept in the case, once, and goes with it", "[casebook][photo]") {
    const ScratchFolder folder;
    const auto place = folder.path("car");
    put_files(folder);
    const auto made = new_case_of(folder, place);
    CAPTURE(made.err);
    REQUIRE(made.code == 0);
    const auto stored = place + "/pictures/bay-photo.jpg";
    CHECK(test::slurp(stored) == with_segment(jpeg_picture(96, 64), test::orientation_segment(6)));
    CHECK(picture_of(reading(place)) == "pictures/bay-photo.jpg");
    CHECK_THAT(test::slurp(place + "/map.json"), Contains("pictures/bay-photo.jpg"));

    // Set again, from outside and from the case itself.
    for (const auto& map : {folder.path("map.json"), place + "/map.json"}) {
        CAPTURE(map);
        CHECK(test::run_idlehark(fmt::format("case add {} map {}", place, map)).code == 0);
        const auto book = reading(place);
        CHECK(book.folder().files("pictures").size() == 1);
        CHECK(book.pictures().value().size() == 1);
        CHECK(picture_of(book) == "pictures/bay-photo.jpg");
    }

    const auto copy = folder.path("copy");
    REQUIRE(export_case(reading(place), copy, false));
    CHECK(test::slurp(copy + "/pictures/bay-photo.jpg") == test::slurp(stored));
    CHECK(picture_of(reading(copy)) == "pictures/bay-photo.jpg");

    const auto report = report_of(reading(copy));
    REQUIRE(report);
    REQUIRE(report.value().map_photo);
    CHECK(report.value().map_photo->width_px == 64);
    CHECK(test::quarters(report.value().map_photo->jpeg) == "BRWG");
    CHECK(report.value().photos.empty());  // under the map is enough
}

TEST_CASE("Photo: a map whose photo is missing makes no case", "[casebook][photo]") {
    const ScratchFolder folder;
    put_files(folder);
    fs::remove(folder.path("bay photo.jpg"));
    const auto refused = new_case_of(folder, folder.path("car"));
    CHECK(refused.code == 2);
    CHECK_THAT(refused.err, Contains("the map's photo") && Contains("bay photo.jpg"));
    CHECK_FALSE(fs::exists(folder.path("car")));
}

TEST_CASE("Photo: where the window cannot keep the map's photo the spots are kept, and it says so once",
          "[src][desk][photo]") {
    const ScratchFolder folder;
    auto made = DeskCase::create(folder.path("car"), "Marlow", test::example_engine(), "");
    REQUIRE(made);
    auto& kept = made.value();
    auto map = test::example_map();
    map.picture = "gone.jpg";
    const auto told = kept.keep_map(map, folder.path(""));
    REQUIRE_FALSE(told);
    CHECK_THAT(told.error().what, StartsWith("the map's photo: ") && Contains("gone.jpg"));
    CHECK(kept.keep_map(map, folder.path("")));
    const auto there = kept.book().map();
    REQUIRE(there);
    REQUIRE(there.value());
    CHECK(there.value()->map.spots == map.spots);
    CHECK(there.value()->map.picture.empty());
}

TEST_CASE("Photo: a page's is upright, all eight ways a telephone is held", "[src][report][photo]") {
    struct Turn {
        int orientation;
        const char* seen;
    };
    // CIPA DC-008, as in tests/gui/picture_test.cpp.
    const auto turn = GENERATE(values<Turn>(
        {{1, "RGBW"}, {2, "GRWB"}, {3, "WBGR"}, {4, "BWRG"}, {5, "RBGW"}, {6, "BRWG"}, {7, "WGBR"}, {8, "GWRB"}}));
    const bool little = GENERATE(true, false);
    CAPTURE(turn.orientation, little);
    const auto photo = page_photo(with_segment(jpeg_picture(96, 64), test::camera_segment(turn.orientation, little)));
    REQUIRE(photo);
    CHECK(photo.value().width_px == (turn.orientation >= 5 ? 64 : 96));
    CHECK(photo.value().height_px == (turn.orientation >= 5 ? 96 : 64));
    CHECK(test::quarters(photo.value().jpeg) == turn.seen);
    CHECK_THAT(photo.value().jpeg, !Contains("Exif") && !Contains("Anna"));
}

TEST_CASE("Photo: a page's is made small enough for paper", "[src][report][photo]") {
    for (const auto& file : {jpeg_picture(5000, 300), test::png_picture(5000, 300)}) {
        const auto photo = page_photo(file);
        REQUIRE(photo);
        CHECK(photo.value().width_px == 1250);
        CHECK(photo.value().height_px == 75);
        CHECK_THAT(test::quarters(photo.value().jpeg), StartsWith(file[0] == '\x89' ? "W" : "R"));
    }
    const auto tall = page_photo(with_segment(jpeg_picture(5000, 300), test::orientation_segment(6)));
    REQUIRE(tall);
    CHECK(tall.value().width_px == 75);
    CHECK(tall.value().height_px == 1250);
}

TEST_CASE("Photo: what is transparent is paper", "[src][report][photo]") {
    const auto photo = page_photo(test::png_picture(96, 64));
    REQUIRE(photo);
    CHECK(photo.value().width_px == 96);
    CHECK(test::quarters(photo.value().jpeg) == "WGBW");
}

TEST_CASE("Photo: damaged, huge and foreign files are refused with words", "[src][report][photo]") {
    const auto refused = [](const std::string& bytes) {
        const auto photo = page_photo(bytes);
        return !photo && photo.error().what.find("cannot be decoded") != std::string::npos;
    };
    const auto jpeg = jpeg_picture(96, 64), png = test::png_picture(96, 64);
    CHECK(refused(""));
    CHECK(refused("hello"));
    CHECK(refused(jpeg.substr(0, 100)));
    CHECK(refused(png.substr(0, 60)));
    CHECK(refused(png.substr(0, 8)));
    CHECK(refused(png.substr(0, 33) + "\x7c\x7c\x7c\x0atEXt"));  // two gigabytes of text, it says
    auto hurt = png;
    hurt[70] = static_cast<char>(hurt[70] ^ 0x55);
    CHECK(refused(hurt));

    // 65535 x 65535: refused before there is room for it.
    const auto peak_kB = [] {
        rusage used{};
        getrusage(RUSAGE_SELF, &used);
        return used.ru_maxrss;
    };
    const auto before_kB = peak_kB();
    auto huge = jpeg;
    const auto frame = huge.find("\xff\xc0");
    REQUIRE(frame != std::string::npos);
    huge.replace(frame + 5, 4, "\xff\xff\xff\xff");
    CHECK(refused(huge));
    huge = png;
    huge.replace(16, 8, std::string{"\0\0\xff\xff\0\0\xff\xff", 8});
    CHECK(refused(huge));
    CHECK(peak_kB() < before_kB + 200'000);
}

TEST_CASE("Photo: as base64 it is what it was", "[src][report][photo]") {
    const auto url = [](const std::string& bytes) { return Photo{bytes, 1, 1}.data_url(); };
    // RFC 4648, 10.
    CHECK(url("") == "data:image/jpeg;base64,");
    CHECK(url("f") == "data:image/jpeg;base64,Zg==");
    CHECK(url("fo") == "data:image/jpeg;base64,Zm8=");
    CHECK(url("foo") == "data:image/jpeg;base64,Zm9v");
    CHECK(url("foobar") == "data:image/jpeg;base64,Zm9vYmFy");
    CHECK(url("\xff\xfe\xfd") == "data:image/jpeg;base64,//79");
}
