#include "src/files/user_folders.hpp"

#include "tests/src/support.hpp"

#include <cstdlib>
#include <filesystem>
#include <map>
#include <optional>

#include <catch2/catch.hpp>

using namespace idlehark;
using test::ScratchFolder;
namespace fs = std::filesystem;

namespace {

/// Sets variables and puts back what was there.
class Environment {
   public:
    Environment() {
        for (const char* name : {"HOME", "XDG_STATE_HOME", "XDG_CONFIG_HOME", "XDG_DOCUMENTS_DIR", "XDG_DATA_DIRS"}) {
            const char* value = std::getenv(name);
            before_[name] = value ? std::optional<std::string>{value} : std::nullopt;
            unsetenv(name);
        }
    }
    ~Environment() {
        for (const auto& [name, value] : before_)
            value ? setenv(name.c_str(), value->c_str(), 1) : unsetenv(name.c_str());
    }
    Environment(const Environment&) = delete;
    Environment& operator=(const Environment&) = delete;
    static void set(const char* name, const std::string& value) { setenv(name, value.c_str(), 1); }

   private:
    std::map<std::string, std::optional<std::string>> before_;
};

}  // namespace

TEST_CASE("User folders: what is remembered lies where XDG_STATE_HOME says, relative places ignored", "[src]") {
    const Environment environment;
    CHECK_FALSE(state_folder());
    Environment::set("HOME", "/home/ann");
    CHECK(state_folder() == fs::path{"/home/ann/.local/state/idlehark"});
    Environment::set("XDG_STATE_HOME", "state");
    CHECK(state_folder() == fs::path{"/home/ann/.local/state/idlehark"});
    Environment::set("XDG_STATE_HOME", "/var/ann");
    CHECK(state_folder() == fs::path{"/var/ann/idlehark"});
}

TEST_CASE("User folders: cases go into the folder for documents, and stay where they were", "[src]") {
    const Environment environment;
    const ScratchFolder folder;
    CHECK(usual_cases_folder() == fs::path{"idlehark-cases"});
    const fs::path home = folder.path("home");
    fs::create_directories(home / ".config");
    Environment::set("HOME", home.string());
    CHECK(usual_cases_folder() == home / "idlehark-cases");

    const auto file = folder.file("home/.config/user-dirs.dirs",
                                  "# a remark\nXDG_MUSIC_DIR=\"$HOME/M\"\nXDG_DOCUMENTS_DIR=\"$HOME/My Papers\"\n");
    CHECK(usual_cases_folder() == home / "idlehark-cases");  // named, but not there
    fs::create_directories(home / "My Papers");
    CHECK(usual_cases_folder() == home / "My Papers" / "idlehark-cases");

    fs::create_directories(folder.path("config"));
    fs::create_directories(folder.path("shared"));
    static_cast<void>(folder.file("config/user-dirs.dirs", "XDG_DOCUMENTS_DIR=\"" + folder.path("shared") + "\"\n"));
    Environment::set("XDG_CONFIG_HOME", folder.path("config"));
    CHECK(usual_cases_folder() == fs::path{folder.path("shared")} / "idlehark-cases");
    static_cast<void>(folder.file("config/user-dirs.dirs", "XDG_DOCUMENTS_DIR=\"elsewhere\"\nXDG_DOCUMENTS_DIR=\""));
    CHECK(usual_cases_folder() == home / "idlehark-cases");  // neither form is allowed there

    Environment::set("XDG_DOCUMENTS_DIR", folder.path("shared"));
    CHECK(usual_cases_folder() == fs::path{folder.path("shared")} / "idlehark-cases");
    fs::create_directories(home / "idlehark-cases");
    CHECK(usual_cases_folder() == home / "idlehark-cases");
}

TEST_CASE("User folders: the bundled recording is found from the build and by XDG_DATA_DIRS", "[src]") {
    const Environment environment;
    const auto here = recordings_folder();
    if (fs::is_regular_file(fs::path{test::recordings_path("bay.ogg")})) CHECK(fs::is_regular_file(here / "bay.ogg"));

    // A copy of the program elsewhere finds it beside itself, or where the variable says.
    const ScratchFolder folder;
    fs::create_directories(folder.path("usr/bin"));
    fs::create_directories(folder.path("data/idlehark/recordings"));
    fs::create_symlink(test::recordings_path("bay.ogg"), folder.path("data/idlehark/recordings/bay.ogg"));
    fs::copy_file(test::program_path(), folder.path("usr/bin/idlehark"));
    const auto program = "XDG_DATA_DIRS=/nowhere:" + folder.path("data") + " " + folder.path("usr/bin/idlehark");
    REQUIRE(std::system((program + " demo --help >" + folder.path("out")).c_str()) == 0);
    CHECK(std::system((program + " demo 2>" + folder.path("err")).c_str()) != 0);  // no truth.json beside it
    CHECK(test::slurp(folder.path("err")).find(folder.path("data/idlehark/recordings/truth.json")) !=
          std::string::npos);
}
