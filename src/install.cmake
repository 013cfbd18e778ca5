# What a machine gets: the program, its manual page and completions (made by the program itself from what `--help`
# shows), the desktop entry with its icon, the bundled recordings, the documents; and the Debian package of it all.
include(GNUInstallDirs)

set(made ${CMAKE_BINARY_DIR}/manual)
set(manual_files)
foreach(file IN ITEMS man/idlehark.1 bash/idlehark zsh/_idlehark fish/idlehark.fish)
    cmake_path(GET file PARENT_PATH kind)
    add_custom_command(OUTPUT ${made}/${file}
        COMMAND ${CMAKE_COMMAND} -E make_directory ${made}/${kind}
        COMMAND idlehark manual ${kind} --out ${made}/${file}
        DEPENDS idlehark VERBATIM)
    list(APPEND manual_files ${made}/${file})
endforeach()
add_custom_command(OUTPUT ${made}/man/idlehark.1.gz COMMAND gzip -9nkf ${made}/man/idlehark.1
    DEPENDS ${made}/man/idlehark.1 VERBATIM)  # -n: neither name nor time inside
list(APPEND manual_files ${made}/man/idlehark.1.gz)
add_custom_target(idlehark_manual ALL DEPENDS ${manual_files})

install(TARGETS idlehark RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR})
install(FILES ${made}/man/idlehark.1.gz DESTINATION ${CMAKE_INSTALL_MANDIR}/man1)
install(FILES ${made}/bash/idlehark DESTINATION ${CMAKE_INSTALL_DATADIR}/bash-completion/completions)
install(FILES ${made}/zsh/_idlehark DESTINATION ${CMAKE_INSTALL_DATADIR}/zsh/vendor-completions)
install(FILES ${made}/fish/idlehark.fish DESTINATION ${CMAKE_INSTALL_DATADIR}/fish/vendor_completions.d)
install(FILES desktop/idlehark.desktop DESTINATION ${CMAKE_INSTALL_DATADIR}/applications)
install(FILES desktop/idlehark.svg DESTINATION ${CMAKE_INSTALL_DATADIR}/icons/hicolor/scalable/apps)
install(DIRECTORY ${PROJECT_SOURCE_DIR}/recordings/ DESTINATION ${CMAKE_INSTALL_DATADIR}/idlehark/recordings
    FILES_MATCHING PATTERN *.ogg PATTERN *.json PATTERN *.csv PATTERN *.md)
install(FILES ${PROJECT_SOURCE_DIR}/README.md ${PROJECT_SOURCE_DIR}/DEVELOPERS.md DESTINATION ${CMAKE_INSTALL_DOCDIR})
install(FILES ${PROJECT_SOURCE_DIR}/tests/gui/window.png DESTINATION ${CMAKE_INSTALL_DOCDIR}/tests/gui)  # README.md shows it
install(FILES ${PROJECT_SOURCE_DIR}/LICENSE DESTINATION ${CMAKE_INSTALL_DOCDIR} RENAME copyright)
install(DIRECTORY guide DESTINATION ${CMAKE_INSTALL_DOCDIR}/src)  # the same places as in the source: the links hold

set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_CONTACT "The Idlehark authors <idlehark@localhost>")
set(CPACK_PACKAGE_VENDOR "Idlehark")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "finds intake leaks of an idling engine by ear")
set(CPACK_PACKAGE_DESCRIPTION
"Idlehark listens to an idling petrol engine through a telephone's or any
microphone, follows the idle speed in the sound, and says with intervals
and honest error rates which numbered joint of the intake leaks, from how
the speed answers to small bursts of spray. Also injector clicks, hiss,
cylinder balance, a casebook, a report and a practice bay without fuel.")
set(CPACK_STRIP_FILES ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SECTION sound)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PACKAGE_DEPENDS fonts-dejavu-core)  # no library names the letters that window and pictures are written in
set(CPACK_DEBIAN_PACKAGE_RECOMMENDS "libgl1-mesa-dri, libasound2-plugins")
set(CPACK_DEBIAN_PACKAGE_CONTROL_STRICT_PERMISSION ON)
set(CPACK_PRE_BUILD_SCRIPTS ${CMAKE_CURRENT_SOURCE_DIR}/pack_folders.cmake)
include(CPack)
