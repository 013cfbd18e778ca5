// What other libraries keep until the end is no leak of ours: fontconfig's fonts.
extern "C" const char* __lsan_default_suppressions();  // NOLINT(bugprone-reserved-identifier)
extern "C" const char* __lsan_default_suppressions() {
    return "leak:libfontconfig.so\n";
}  // NOLINT(bugprone-reserved-identifier)
