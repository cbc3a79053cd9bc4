# General libraries for the benchmarks to measure beside ours, each where it is there: nothing is built on them. Open3D is
# looked for by the benchmark that runs, through Python.
set(here ${CMAKE_CURRENT_LIST_DIR})
target_sources(bench_tree PRIVATE ${here}/open3d_index.c ${here}/python.c)
target_sources(bench_align PRIVATE ${here}/open3d_align.c ${here}/python.c)

find_package(embree 3 QUIET)
if(embree_FOUND)
    target_sources(bench_tree PRIVATE ${here}/embree.c)
    target_link_libraries(bench_tree PRIVATE embree)
    target_compile_definitions(bench_tree PRIVATE RLV_EMBREE)
endif()

# The one use of C++; the sanitizers are set for C alone.
include(CheckLanguage)
check_language(CXX)
if(CMAKE_CXX_COMPILER AND NOT CMAKE_C_FLAGS MATCHES "sanitize")
    enable_language(CXX)
    set(CGAL_DO_NOT_WARN_ABOUT_CMAKE_BUILD_TYPE ON)
    find_package(CGAL QUIET)
    find_package(OpenMP QUIET COMPONENTS CXX)
endif()
if(CGAL_FOUND AND OpenMP_CXX_FOUND)
    add_library(rlv_cgal STATIC ${here}/cgal_index.cpp)
    target_link_libraries(rlv_cgal PRIVATE rlv_flags CGAL::CGAL OpenMP::OpenMP_CXX)
    target_link_libraries(bench_tree PRIVATE rlv_cgal)
    target_compile_definitions(bench_tree PRIVATE RLV_CGAL)
endif()
