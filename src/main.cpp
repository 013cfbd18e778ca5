#include "src/cli/cli.hpp"
#include "src/cli/messages.hpp"

#include <exception>
#include <string>

int main(int argc, char** argv) {
    try {
        return idlehark::run_command_line(argc, argv);
    } catch (const std::exception& e) {
        return idlehark::refuse({std::string{"stopped by an unexpected fault: "} + e.what(), ""});
    } catch (...) {
        return idlehark::refuse({"stopped by an unexpected fault", ""});
    }
}
