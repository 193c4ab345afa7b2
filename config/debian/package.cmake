# The Debian package, made of a build by cpack --config BUILD/CPackConfig.cmake.
# Settings as they come, but with the paths of a package, an empty list of
# tokens (nobody may send) and in silent mode (nothing goes out).
file(READ config/headgate.ini settings)
foreach(change
    "path = headgate.db=>path = /var/lib/headgate/headgate.db"
    "tokens ==>tokens = tokens"
    "silent = false=>silent = true")
  string(REGEX MATCH "^(.*)=>(.*)$" found "${change}")
  set(from "\n;${CMAKE_MATCH_1}\n")
  set(to "\n${CMAKE_MATCH_2}\n")
  string(FIND "${settings}" "${from}" at)
  if(at LESS 0)
    message(FATAL_ERROR "config/headgate.ini has no line ;${CMAKE_MATCH_1}")
  endif()
  string(REPLACE "${from}" "${to}" settings "${settings}")
endforeach()
file(WRITE ${CMAKE_BINARY_DIR}/package/headgate.ini "${settings}")
install(FILES ${CMAKE_BINARY_DIR}/package/headgate.ini config/policy.ini
  DESTINATION /etc/headgate COMPONENT package EXCLUDE_FROM_ALL)
install(FILES config/headgate.service DESTINATION /lib/systemd/system
  COMPONENT package EXCLUDE_FROM_ALL)
install(FILES CHANGELOG.md README.md DESTINATION share/doc/headgate
  COMPONENT package EXCLUDE_FROM_ALL)
install(FILES LICENSE DESTINATION share/doc/headgate RENAME copyright
  COMPONENT package EXCLUDE_FROM_ALL)

set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME headgate)
set(CPACK_PACKAGE_VENDOR headgate)
set(CPACK_PACKAGE_CONTACT "headgate maintainers <maintainers@headgate.example>")
set(CPACK_DEBIAN_PACKAGE_DESCRIPTION
  "surveillance of dialysis accesses: high flow, steal risk, band plans
 Takes access flow, pressures, adequacy and hand symptoms from dialysis units
 (FHIR R4, HL7 v2), keeps the history of each access, finds accesses at risk,
 works out band plans and posts referral suggestions as FHIR Tasks.
 Decision support: the clinician and local policy decide.")
set(CPACK_DEBIAN_PACKAGE_SECTION science)
set(CPACK_DEBIAN_PACKAGE_RELEASE 1)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PACKAGE_DEPENDS
  "adduser, fonts-dejavu-core, init-system-helpers, tzdata")
set(CPACK_DEBIAN_PACKAGE_RECOMMENDS "ca-certificates")
set(CPACK_DEBIAN_PACKAGE_CONTROL_STRICT_PERMISSION ON)
set(CPACK_DEBIAN_PACKAGE_CONTROL_EXTRA
  ${CMAKE_SOURCE_DIR}/config/debian/conffiles
  ${CMAKE_SOURCE_DIR}/config/debian/postinst
  ${CMAKE_SOURCE_DIR}/config/debian/prerm
  ${CMAKE_SOURCE_DIR}/config/debian/postrm)
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
# one package of what every installation has and of what only a package has
set(CPACK_COMPONENTS_ALL Unspecified package)
set(CPACK_COMPONENTS_GROUPING ALL_COMPONENTS_IN_ONE)
set(CPACK_DEB_COMPONENT_INSTALL ON)
include(CPack)
